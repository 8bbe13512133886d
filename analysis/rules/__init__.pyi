from .file_rules import file_findings as file_findings
from .file_rules import unusable_finding as unusable_finding
from .places import in_bars as in_bars
from .places import with_bars as with_bars
from .song_rules import SongFacts as SongFacts
from .song_rules import song_findings as song_findings
from .stated_rules import stated_findings as stated_findings
