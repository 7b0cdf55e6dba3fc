"""What is cut from which coil, in which order it is pulled, and where it has to be spliced."""

from layout.cutting.coils import STEP, cut_coils
from layout.cutting.packing import Packing, pack

__all__ = ["STEP", "Packing", "cut_coils", "pack"]
