"""What a person is told when a chart cannot be drafted, saved or shared."""


class ChartingError(Exception):
    """Its text is a sentence for people."""


class NewerChartError(ChartingError):
    """Somebody saved another version meanwhile."""
