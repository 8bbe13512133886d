from .measures import with_music as with_music
from .ranking import Heard as Heard
from .ranking import listen as listen
from .statements import Statements as Statements
from .statements import gather_statements as gather_statements
from .statements import map_stated as map_stated
