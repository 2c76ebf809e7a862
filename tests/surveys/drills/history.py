"""What must be so of results and their history whatever happened, as sentences with the query that counts exceptions."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Ask = Callable[[str], Any]

EXCEPTIONS = {
    "a survey with a log has one current result": """
        SELECT count(*) FROM surveys_log l WHERE 1 <> (
            SELECT count(*) FROM surveys_result r WHERE r.survey_id = l.survey_id AND r.replaced_at IS NULL)""",
    "a survey's history starts once": """
        SELECT count(*) FROM surveys_log l WHERE 1 <> (
            SELECT count(*) FROM surveys_result r WHERE r.survey_id = l.survey_id AND r.replaces_id IS NULL)""",
    "a result replaces one of its own survey": """
        SELECT count(*) FROM surveys_result new JOIN surveys_result old ON old.id = new.replaces_id
        WHERE old.survey_id <> new.survey_id""",
    "a replaced result names its time, the one that took its place was computed then": """
        SELECT count(*) FROM surveys_result old LEFT JOIN surveys_result new ON new.replaces_id = old.id
        WHERE (new.id IS NULL) <> (old.replaced_at IS NULL) OR new.computed_at <> old.replaced_at""",
    "nothing replaces more than one or is replaced by more than one": """
        SELECT count(replaces_id) - count(DISTINCT replaces_id) FROM surveys_result""",
    "a result says what run made it, unless it was the first, and by how much it moved": """
        SELECT count(*) FROM surveys_result
        WHERE (replaces_id IS NULL) <> (recomputation_id IS NULL) OR (replaces_id IS NULL) <> (change_breakdown IS NULL)""",
    "every result rests on a calibration of the meter and of the pair": """
        SELECT count(*) FROM surveys_result r WHERE 2 <> (
            SELECT count(*) FROM surveys_result_calibrations c WHERE c.result_id = r.id)""",
    "no item is left open": """
        SELECT count(*) FROM surveys_recomputationitem WHERE state <> 'done' OR claimed_by IS NOT NULL""",
    "no run is left open": """
        SELECT count(*) FROM surveys_recomputation WHERE state <> 'finished' OR finished_at IS NULL""",
    "an item of a run that made a result tells which it replaced": """
        SELECT count(*) FROM surveys_result r WHERE r.recomputation_id IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM surveys_recomputationitem i WHERE i.recomputation_id = r.recomputation_id
            AND i.survey_id = r.survey_id AND i.after_id = r.id AND i.before_id = r.replaces_id)""",
    "an item ends with a result of its survey": """
        SELECT count(*) FROM surveys_recomputationitem i JOIN surveys_result r ON r.id = i.after_id
        WHERE r.survey_id <> i.survey_id""",
    "a current result rests on a version nothing corrected": """
        SELECT count(*) FROM surveys_result r JOIN surveys_pipedata d ON d.corrects_id = r.pipe_data_id
        WHERE r.replaced_at IS NULL""",
    "a notice tells of a result and the one it replaced": """
        SELECT count(*) FROM surveys_notice n JOIN surveys_result r ON r.id = n.after_id
        WHERE n.before_id <> r.replaces_id""",
}


def wrong_sentences(ask: Ask) -> dict[str, int]:
    """Return the rules that are broken, with the number of exceptions."""
    counted = {sentence: int(ask(query)) for sentence, query in EXCEPTIONS.items()}
    return {sentence: count for sentence, count in counted.items() if count}
