from .engrave import FORMATS as FORMATS
from .engrave import PAGES as PAGES
from .engrave import Look as Look
from .engrave import engrave as engrave
from .engrave import svg_pages as svg_pages
from .fonts import not_covered as not_covered
