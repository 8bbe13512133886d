from .catalogue import FINDING_KINDS as FINDING_KINDS
from .catalogue import KIND_BY_CODE as KIND_BY_CODE
from .catalogue import KINDS_BY_GROUP as KINDS_BY_GROUP
from .catalogue import client_message as client_message
from .catalogue import make_finding as make_finding
from .kind import FindingKind as FindingKind
from .kind import Severity as Severity
