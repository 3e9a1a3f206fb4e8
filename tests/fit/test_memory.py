"""What is remembered is made once, whether it is asked for alone or with others."""

from __future__ import annotations

from server.fit.memory import Memory


def test_values_of_several_keys_are_made_in_one_go_and_only_those_that_are_not_there() -> None:
    memory, made = Memory(), list[list[int]]()

    def squares(numbers: list[int]) -> list[int]:
        made.append(numbers)
        return [number**2 for number in numbers]

    assert memory.once(("square", 3), lambda: 9) == 9
    asked = {("square", number): number for number in (2, 3, 4)}
    assert memory.each(asked, squares) == [4, 9, 16]
    assert memory.each(asked, squares) == [4, 9, 16]
    assert made == [[2, 4]]
    assert memory.once(("square", 4), lambda: 0) == 16
    assert memory.each({}, squares) == []
