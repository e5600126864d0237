"""Whose lesson it is: the names and the date at the head of a booklet."""

from midiforge.frozen import frozen


@frozen
class Names:
    """Who gives a lesson to whom, and when; "" for what is not known."""

    student: str = ""
    teacher: str = ""
    date: str = ""

    @property
    def said(self) -> dict[str, str]:
        """What stands at the head of the pages; the student's name and the date may be written."""
        said = {"Student": self.student, "Teacher": self.teacher, "Date": self.date}
        return {name: text for name, text in said.items() if text or name != "Teacher"}


UNNAMED = Names()
