"""Decision tables: read, evaluate, explain and prove. Knows no medicine and imports nothing of ours."""

from .faults import Fault, ProtocolFaults
from .finding import STANDINGS, Evaluation, Finding, Item, Question, Reason
from .protocol import Contradiction, Protocol, load_protocol
from .proving.checking import check_protocol
from .vocabulary import Fact, Facts, Value, Vocabulary

__all__ = [
    "STANDINGS",
    "Contradiction",
    "Evaluation",
    "Fact",
    "Facts",
    "Fault",
    "Finding",
    "Item",
    "Protocol",
    "ProtocolFaults",
    "Question",
    "Reason",
    "Value",
    "Vocabulary",
    "check_protocol",
    "load_protocol",
]
