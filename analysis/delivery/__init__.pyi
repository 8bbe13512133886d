from .check_results import Check as Check
from .check_results import VerifyReport as VerifyReport
from .feel import FeelReport as FeelReport
from .feel import feel_of as feel_of
from .verify import verify_set as verify_set
