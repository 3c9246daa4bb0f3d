"""The fold: what the set of events means. Pure, and the same for every order of the events.

    events -> current events -> settled measurements -> crop and job of each visit -> Farm

An event counts unless some event names it in `supersedes`. Doubles count once. Nothing here looks
at a clock to decide which of two facts holds: where two know nothing of each other, one is kept
by a rule that every laptop follows, and both are listed in `Farm.unsettled`.
"""

from oplog.fold.farm import Farm, Standing, Unsettled
from oplog.fold.folding import fold
from oplog.fold.hanging import Subject, of_subject, of_tables, of_visits
from oplog.fold.renamed import now_called

__all__ = [
    "Farm",
    "Standing",
    "Subject",
    "Unsettled",
    "fold",
    "now_called",
    "of_subject",
    "of_tables",
    "of_visits",
]
