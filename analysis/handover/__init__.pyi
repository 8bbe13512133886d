from .repair import Repair as Repair
from .repair import RepairedFile as RepairedFile
from .repair import repair_set as repair_set
from .sheet import Sheet as Sheet
from .sheet import SheetTrack as SheetTrack
from .sheet import check_against as check_against
from .sheet import make_sheet as make_sheet
