"""Drawings (.dxf): loaded, taken apart into plain pieces, joined into shapes, and the one that is meant picked.

`load` opens the file and judges damage, `units` finds what a drawing unit is, `pieces` flattens entities and
takes blocks apart, `chains` joins pieces end to end, `contents` knows what each layer holds, `pick` makes the
points that the site file asks for. Trade words: an *entity* is one thing drawn, known by its *handle*; a *bulge*
bends a segment of a polyline into an arc; a *block* is a symbol that is drawn once and *inserted* many times.
"""
