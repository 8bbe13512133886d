from .brief import brief_from_json as brief_from_json
from .chart import draft_song as draft_song
from .song import SongFile as SongFile
from .song import measure_song as measure_song
from .survey import FileSurvey as FileSurvey
from .survey import survey_file as survey_file
