from .encoder import create_sound as create_sound
from .hashes import sha256_of_file as sha256_of_file
from .reader import Media as Media
from .reader import file_pieces as file_pieces
from .reader import open_media as open_media
from .safe_names import safe_name as safe_name
