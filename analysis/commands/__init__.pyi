from .report_text import song_text as song_text
from .run import click as click
from .run import conform as conform
from .run import feel as feel
from .run import inspect as inspect
from .run import midi as midi
from .run import pack as pack
from .run import verify as verify
