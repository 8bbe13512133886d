from .measures import with_music as with_music
from .ranking import Ranking as Ranking
from .ranking import rank_readings as rank_readings
from .statements import Statements as Statements
from .statements import gather_statements as gather_statements
from .statements import map_stated as map_stated
