from .evidence import Evidence as Evidence
from .evidence import pool as pool
from .grid import GridFit as GridFit
from .grid import fit_grid as fit_grid
