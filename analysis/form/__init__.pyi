from .sections import find_sections as find_sections
