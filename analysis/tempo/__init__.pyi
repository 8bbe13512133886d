from .evidence import Evidence as Evidence
from .evidence import pool as pool
from .evidence import pooled_attacks as pooled_attacks
from .grid import GridFit as GridFit
from .grid import fit_grid as fit_grid
