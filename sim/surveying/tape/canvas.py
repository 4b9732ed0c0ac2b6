"""A sheet of characters to draw on: rows from the top, columns from the left, plain ASCII."""

from __future__ import annotations

Cell = tuple[int, int]


class Canvas:
    """Rows of characters; what lies outside is left out."""

    def __init__(self, height: int, width: int) -> None:
        self.height, self.width = height, width
        self._rows = [[" "] * width for _ in range(height)]

    def put(self, row: int, column: int, mark: str) -> None:
        """Draw one character."""
        if 0 <= row < self.height and 0 <= column < self.width:
            self._rows[row][column] = mark

    def fill(self, first: Cell, last: Cell, mark: str) -> None:
        """Fill a rectangle, both corners included."""
        for row in range(min(first[0], last[0]), max(first[0], last[0]) + 1):
            for column in range(min(first[1], last[1]), max(first[1], last[1]) + 1):
                self.put(row, column, mark)

    def line(self, first: Cell, last: Cell, mark: str) -> None:
        """Draw a straight line of one character."""
        steps = max(abs(last[0] - first[0]), abs(last[1] - first[1]), 1)
        for step in range(steps + 1):
            row = round(first[0] + (last[0] - first[0]) * step / steps)
            self.put(row, round(first[1] + (last[1] - first[1]) * step / steps), mark)

    def wall(self, first: Cell, last: Cell) -> None:
        """Draw a straight line of whichever characters run its way."""
        down, right = last[0] - first[0], last[1] - first[1]
        mark = "\\" if (down > 0) == (right > 0) else "/"
        if abs(right) > 4 * abs(down):
            mark = "-"
        elif abs(down) > abs(right):
            mark = "|"
        self.line(first, last, mark)

    def write(self, row: int, column: int, words: str) -> bool:
        """Write words if their place, and a blank on either side, is free; returns whether it was."""
        if not 0 <= row < self.height or column < 0 or column + len(words) > self.width:
            return False
        around = self._rows[row][max(column - 1, 0) : column + len(words) + 1]
        if any(mark not in " ." for mark in around):
            return False
        self._rows[row][column : column + len(words)] = list(words)
        return True

    def lines(self) -> list[str]:
        """The rows without blanks at their ends, and without empty rows above and below."""
        lines = ["".join(row).rstrip() for row in self._rows]
        while lines and not lines[-1]:
            lines.pop()
        while lines and not lines[0]:
            lines.pop(0)
        return lines
