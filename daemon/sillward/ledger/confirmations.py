"""What the grower answered: chores done, wholly or for some plants, and how to take that back."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from sillward.ledger.records import plain, state_of, to_moment, to_text
from sillward.ledger.told import RoundTables
from sillward_rules.plants.state import PlantState


@dataclass(frozen=True, slots=True)
class Answer:
    """One acknowledgement. chores: ids of those that it was about."""

    id: int
    at: datetime
    chores: tuple[str, ...]
    undo: dict[str, Any]


class AnswerTables(RoundTables):
    """The part of the ledger about what was acknowledged."""

    def finish(
        self, site: str, chore_id: str, at: datetime, states: Mapping[str, PlantState]
    ) -> None:
        """Mark a chore as done for all its plants, together with the state that follows."""
        self.acknowledge(site, at, {chore_id: None}, states)

    def acknowledge(
        self,
        site: str,
        at: datetime,
        done: Mapping[str, Sequence[str] | None],
        states: Mapping[str, PlantState],
    ) -> None:
        """Mark chores as done, each for some of its plants or (None) for all, in one transaction.

        What is done for some becomes a chore of its own; the others stay to be done. How all was
        before is kept, so that it can be taken back.
        """
        with self.transaction():
            known = self.states(site)
            rows, made = [], dict[str, str]()
            for chore_id, plants in done.items():
                for row in self._rows(
                    "SELECT * FROM chore WHERE site = ? AND id = ?", site, chore_id
                ):
                    rows.append(dict(row))
                    part = self._finish(site, dict(row), at, plants)
                    made |= {} if part is None else {chore_id: part}
            self._write_states(site, states)
            undo = {
                "chores": rows,
                "made": made,
                "before": {one: _document(known.get(one)) for one in states},
                "after": {one: _document(state) for one, state in states.items()},
            }
            self._db.execute(
                "INSERT INTO answer (site, at, undo) VALUES (?, ?, ?)",
                (site, to_text(at), json.dumps(undo)),
            )

    def _finish(
        self, site: str, row: dict[str, Any], at: datetime, plants: Sequence[str] | None
    ) -> str | None:
        """Mark a chore, or a part of it. Return the id of the part, if there is one."""
        document = json.loads(row["document"])
        rest = [] if plants is None else [one for one in document["plants"] if one not in plants]
        if not rest:
            self._replace("chore", {**row, "done_at": to_text(at)})
            return None
        part, number = f"{row['id']}-done", 1
        while self._rows("SELECT 1 FROM chore WHERE site = ? AND id = ?", site, part):
            number += 1
            part = f"{row['id']}-done-{number}"
        for key, names in ((row["id"], rest), (part, plants or ())):
            because = [one for one in document.get("because", ()) if one["plant"] in names]
            mine = {**document, "id": key, "plants": list(names), "because": because}
            done_at = to_text(at) if key == part else row["done_at"]
            self._replace(
                "chore", {**row, "id": key, "document": json.dumps(mine), "done_at": done_at}
            )
        return part

    def last_answer(self, site: str, about: str | None = None) -> Answer | None:
        """The last acknowledgement; about: the last of a chore whose id contains this."""
        for row in self._rows("SELECT * FROM answer WHERE site = ? ORDER BY id DESC", site):
            undo = json.loads(row["undo"])
            chores = tuple(one["id"] for one in undo["chores"])
            if about is None or any(about in one for one in chores):
                return Answer(row["id"], to_moment(row["at"]), chores, undo)
        return None

    def take_back(self, site: str, answer: Answer) -> list[str]:
        """Undo an acknowledgement: its chores are open again, and states as they were before it.

        What has changed about a chore meanwhile stays: who has joined it, and its hour. Return the
        plants of which something else is known by now: these stay as they are.
        """
        with self.transaction():
            now = self.states(site)
            after, before = answer.undo["after"], answer.undo["before"]
            moved = [name for name in after if _document(now.get(name)) != after[name]]
            for row in answer.undo["chores"]:
                self._reopen(site, row, answer.undo["made"].get(row["id"]))
            for name in after:
                if name in moved:
                    continue
                if before[name] is None:
                    self._db.execute(
                        "DELETE FROM plant_state WHERE site = ? AND plant = ?", (site, name)
                    )
                else:
                    self._write_states(site, {name: state_of(before[name])})
            self._db.execute("DELETE FROM answer WHERE id = ?", (answer.id,))
        return moved

    def _reopen(self, site: str, row: Mapping[str, Any], part: str | None) -> None:
        """Have a chore open as it was, or, if it has become another one, the part that was done."""
        if part is not None:
            done, rest = (self._row(site, one) for one in (part, row["id"]))
            before = json.loads(row["document"])
            if rest is not None and done is not None and _is_rest(rest, done, row):
                document = json.loads(rest["document"]) | {
                    key: before[key] for key in ("plants", "because")
                }
                self._replace("chore", {**rest, "document": json.dumps(document)})
                self._db.execute("DELETE FROM chore WHERE site = ? AND id = ?", (site, part))
                return
        self._db.execute(
            "UPDATE chore SET done_at = ? WHERE site = ? AND id = ?",
            (row["done_at"], site, part or row["id"]),
        )

    def _row(self, site: str, chore_id: str) -> dict[str, Any] | None:
        rows = self._rows("SELECT * FROM chore WHERE site = ? AND id = ?", site, chore_id)
        return dict(rows[0]) if rows else None


def _is_rest(rest: Mapping[str, Any], done: Mapping[str, Any], whole: Mapping[str, Any]) -> bool:
    """Whether a chore is what was left of a whole when a part of it was done, and nothing else."""
    plants = [json.loads(one["document"])["plants"] for one in (rest, done, whole)]
    same = all(rest[key] == whole[key] for key in ("before", "done_at", "called_off_at"))
    return same and sorted(plants[0] + plants[1]) == sorted(plants[2])


def _document(state: PlantState | None) -> dict[str, Any] | None:
    if state is None:
        return None
    return {field.name: plain(getattr(state, field.name)) for field in fields(PlantState)}
