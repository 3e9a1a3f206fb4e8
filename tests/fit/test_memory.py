"""What is remembered is made once, whether it is asked for alone or with others."""

from __future__ import annotations

from server.fit.memory import MOST_ENTRIES, Memory


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


class Upset:
    """A key during whose second look-up another inquiry fills the memory, which starts anew."""

    def __init__(self, memory: Memory) -> None:
        self._memory, self._asked = memory, 0

    def __hash__(self) -> int:
        self._asked += 1
        if self._asked == 3:
            for number in range(MOST_ENTRIES + 1):
                self._memory.keep(number, None)
        return 7


def test_a_memory_that_starts_anew_while_it_is_asked_answers_all_the_same() -> None:
    memory = Memory()
    key = Upset(memory)
    asked = {key: 3}
    memory.keep(key, 9)
    assert memory.each(asked, lambda numbers: [number**2 for number in numbers]) == [9]


def test_no_number_stands_for_two_terms_even_after_the_memory_started_anew() -> None:
    memory = Memory()
    assert memory.number("a") == memory.number("a")
    assert len({memory.number(term) for term in range(MOST_ENTRIES + 10)}) == MOST_ENTRIES + 10
