"""The form of a batch file: pages of fields, members of lists, the cook's own ingredients."""

from __future__ import annotations

import re

from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.message import Message
from textual.widgets import Button, Input, Static

from tourier.desk.data.batchdoc import BatchDoc, shown
from tourier.desk.data.fields import SECTIONS, Field, Section, section, section_of
from tourier.desk.widgets.formrow import Edited, FormRow
from tourier.desk.widgets.pages import PageRow

_PERCENT = "Percent of flour; the flours together make 100 %."
_MEMBER = re.compile(r"\w+\[(\d+)\]")
_MEMBER_WORDS = {"pieces": "piece", "away": "hours"}
_NEW = {
    "pieces": {"name": "new piece", "count": 12, "shape": "triangle", "base": "9 cm", "height": "26 cm",
               "thickness": "4 mm"},
    "away": {"why": "away", "from": "12:00", "to": "13:00"},
}  # fmt: skip


class Form(Vertical):
    """Pages of fields over a BatchDoc. Posts formrow.Edited for fields and the messages below for lists."""

    class Added(Message):
        """A new member is wanted."""

        def __init__(self, path: str, values: dict) -> None:
            super().__init__()
            self.path, self.values = path, values

    class Removed(Message):
        """A member is to go."""

        def __init__(self, path: str, number: int) -> None:
            super().__init__()
            self.path, self.number = path, number

    class More(Message):
        """Kind or temperature of an ingredient is to be written."""

    class NewIngredient(Message):
        """An ingredient was named."""

        def __init__(self, name: str) -> None:
            super().__init__()
            self.name = name

    def __init__(self, **kwargs) -> None:
        super().__init__(**kwargs)
        self._doc: BatchDoc | None = None
        self._section = SECTIONS[0]
        self._member = 1
        self._wrong: dict[str, str] = {}
        self._parts: dict[str, tuple[str, str]] = {}  # paths of the formula page: ingredient and what of it

    def compose(self) -> ComposeResult:
        yield PageRow([(one.id, one.title) for one in SECTIONS], id="form-pages")
        yield PageRow([], id="form-members", classes="hidden")
        yield VerticalScroll(id="form-fields", can_focus=False)

    # --- what is shown -----------------------------------------------------------------------------------------

    async def set_doc(self, doc: BatchDoc) -> None:
        """Show another batch file from its first page."""
        self._doc, self._member, self._wrong = doc, 1, {}
        await self._rebuild()

    async def refresh_doc(self) -> None:
        """Show what the document says now (after undo, or after lists changed)."""
        assert self._doc is not None
        wanted = [path for path, _field in self._fields()]
        rows = list(self.query(FormRow))
        if [row.path for row in rows] != wanted or self._section.many or self._section.free:
            await self._rebuild()
            return
        for row in rows:
            row.set_value(self.value(row.path))

    def complain(self, problems: dict[str, str]) -> None:
        """Show problems (by key) beside their fields and on their pages."""
        self._wrong = problems
        self.query_one("#form-pages", PageRow).mark({section_of(key) for key in problems})
        for row in self.query(FormRow):
            row.complain(self._problem(row.path))
        self._say_rest()

    async def show_path(self, path: str) -> None:
        """Go to the field of a path, and put the cursor there."""
        if not path:
            return await self.refresh_doc()
        page = section(section_of(path))
        found = _MEMBER.match(path) if page.many else None
        member = int(found.group(1)) if found else self._member
        if (page.id, member) == (self._section.id, self._member):
            await self.refresh_doc()
        else:
            await self.open_page(page.id, member)
        for row in self.query(FormRow):
            if row.path == path:
                row.focus_entry()
        return None

    async def open_page(self, section_id: str, member: int = 1) -> None:
        """Go to a page of the form."""
        self._section, self._member = section(section_id), member
        self.query_one("#form-pages", PageRow).show(section_id)
        await self._rebuild()

    @property
    def page(self) -> str:
        """The page in view."""
        return self._section.id

    @property
    def member(self) -> int:
        """The member in view of a page that has several (from 1)."""
        return self._member

    def _problem(self, path: str) -> str:
        return self._wrong.get(path) or (self._wrong.get(f"{path}.percent", "") if path in self._parts else "")

    def value(self, path: str) -> str:
        """Return what the document says at a field's path, as the form shows it."""
        assert self._doc is not None
        if not path.startswith("formula."):
            return shown(self._doc.get(path))
        name, part = self.ingredient(path)
        value = self._ingredients().get(name)
        if isinstance(value, dict):
            return shown(value.get(part))
        return shown(value) if part == "percent" else ""

    def ingredient(self, path: str) -> tuple[str, str]:
        """Return (ingredient, what of it) of a path of the formula page."""
        return self._parts.get(path, (path.removeprefix("formula."), "percent"))

    def names(self) -> list[str]:
        """Return the ingredients."""
        return list(self._ingredients())

    def plain_ingredients(self) -> list[str]:
        """Return the ingredients that are written with their percent only."""
        return [name for name, value in self._ingredients().items() if not isinstance(value, dict)]

    def _ingredients(self) -> dict:
        table = self._doc.get("formula") if self._doc else None
        return table if isinstance(table, dict) else {}

    def _fields(self) -> list[tuple[str, Field]]:
        assert self._doc is not None
        page: Section = self._section
        if page.free:
            return self._formula_fields()
        prefix = f"{page.path}[{self._member}]." if page.many else f"{page.path}." if page.path else ""
        return [(prefix + one.key, one) for one in page.fields]

    def _formula_fields(self) -> list[tuple[str, Field]]:
        from tourier.batch.ingredients import KINDS, kind_of

        rows: list[tuple[str, Field]] = []
        self._parts = {}
        for name, value in self._ingredients().items():
            path, known = f"formula.{name}", kind_of(name)
            rows.append((path, Field(name, name, "10 %", f"{_PERCENT} Empty takes the ingredient away.")))
            self._parts[path] = (name, "percent")
            if isinstance(value, dict) or known is None:
                rows += [
                    (f"{path}.kind", Field("kind", "  is a kind of", known or "choose",
                                           "What it is made of, for heat and volume.", "choice", KINDS)),
                    (f"{path}.temperature", Field("temperature", "  comes at", "as it is kept",
                                                  "Its own temperature; empty: from fridge or room.")),
                ]  # fmt: skip
                self._parts[f"{path}.kind"] = (name, "kind")
                self._parts[f"{path}.temperature"] = (name, "temperature")
        return rows

    async def _rebuild(self) -> None:
        assert self._doc is not None
        page, said = self._section, self._doc.voice
        members = self.query_one("#form-members", PageRow)
        count = self._doc.count(page.path) if page.many else 0
        members.set_class(not page.many, "hidden")
        if page.many:
            self._member = min(max(1, self._member), max(1, count))
            words = [shown(self._doc.get(f"{page.path}[{n}].name")) or f"{n}" for n in range(1, count + 1)]
            pages = [(str(n), word[:16]) for n, word in enumerate(words, start=1)]
            members.set_pages([*pages, ("new", "+ new")], str(self._member))
        box = self.query_one("#form-fields", VerticalScroll)
        rows: list = [
            FormRow(path, one.said(said), self.value(path), self._problem(path))
            for path, one in (self._fields() if count or not page.many else [])
        ]
        if page.free:
            rows.append(Horizontal(Static("new ingredient", classes="label"),
                                   Input(placeholder="rye flour, then Enter", id="new-ingredient", compact=True),
                                   classes="new-row"))  # fmt: skip
            rows.append(Button("Kind or temperature of an ingredient …", id="more", compact=True))
        if page.many and count:
            rows.append(Button(f"Take this {_MEMBER_WORDS[page.path]} away", id="remove-member", compact=True))
        rows.append(Static("", id="form-rest", markup=False))
        if page.help:
            rows.append(Static(said.example(page.help), classes="hint", markup=False))
        async with box.batch():
            await box.remove_children()
            await box.mount_all(rows)
        box.scroll_home(animate=False)
        self._say_rest()

    def _say_rest(self) -> None:
        """Say what is wrong here and has no field of its own."""
        paths = {row.path for row in self.query(FormRow)}
        rest = [
            f"! {key}: {sentence}" if key else f"! {sentence}"
            for key, sentence in self._wrong.items()
            if key not in paths and section_of(key) == self._section.id
        ]
        for static in self.query("#form-rest"):
            static.update("\n".join(rest))  # type: ignore[attr-defined]

    # --- what the cook does ------------------------------------------------------------------------------------

    async def on_page_row_chosen(self, event: PageRow.Chosen) -> None:
        event.stop()
        self._flush()
        if event.row.id == "form-pages":
            self._section, self._member = section(event.page), 1
            await self._rebuild()
        elif event.page == "new":
            assert self._doc is not None
            new, said = _NEW[self._section.path], self._doc.voice
            new = {key: said.example(value) if isinstance(value, str) else value for key, value in new.items()}
            self.post_message(self.Added(self._section.path, new))
        else:
            self._member = int(event.page)
            await self._rebuild()

    def _flush(self) -> None:
        """Say what was typed last: the rows are about to go, and their own messages with them."""
        for row in self.query(FormRow):
            if row.text.strip() != self.value(row.path).strip():
                self.post_message(Edited(row.path, row.text, row.field))

    @on(Button.Pressed, "#remove-member")
    def _remove(self, event: Button.Pressed) -> None:
        event.stop()
        self.post_message(self.Removed(self._section.path, self._member))

    @on(Button.Pressed, "#more")
    def _more(self, event: Button.Pressed) -> None:
        event.stop()
        self.post_message(self.More())

    @on(Input.Changed, "#new-ingredient")
    def _naming(self, event: Input.Changed) -> None:
        event.stop()

    @on(Input.Submitted, "#new-ingredient")
    def _named(self, event: Input.Submitted) -> None:
        event.stop()
        if event.value.strip():
            self.post_message(self.NewIngredient(event.value.strip()))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.screen.focus_next()
