from .agreed import Agreed as Agreed
from .channels import LABELS as LABELS
from .channels import label_of as label_of
from .check_results import Check as Check
from .check_results import VerifyReport as VerifyReport
from .feel import feel_of_file as feel_of_file
from .feel_report import FeelReport as FeelReport
from .verify import verify_set as verify_set
