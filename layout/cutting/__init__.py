"""What is cut from which coil, in which order it is pulled, and where it has to be spliced."""

from layout.cutting.coils import STEP, cut_coils
from layout.cutting.packing import Packing, pack
from layout.cutting.told import coil_findings

__all__ = ["STEP", "Packing", "coil_findings", "cut_coils", "pack"]
