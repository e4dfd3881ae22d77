"""Shape of a question about a machine, for every list that holds one."""

from __future__ import annotations

from api.schemas.results import shape_from
from crib.acts.question import Question

QuestionShape = shape_from(Question, "QuestionShape", rename={"mount_id": "mount"})
