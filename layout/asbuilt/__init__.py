"""What was laid, against the plan.

Trade words: a *shot* is one measured point; a *track* are the shots that follow each other along one tube.
"""
