from .fonts import not_covered as not_covered
from .forms import FORMATS as FORMATS
from .forms import PAGES as PAGES
from .forms import Look as Look
from .forms import engrave as engrave
from .forms import svg_pages as svg_pages
