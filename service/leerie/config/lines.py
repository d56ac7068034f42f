"""Where in the file a key stands. Needed only once there is something to say, so the grammar is loaded no earlier."""

import tomllib
from collections.abc import Iterator

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from leerie.config.problems import Path


class Lines:
    """The lines of a TOML text's keys, tables and list elements."""

    def __init__(self, text: bytes) -> None:
        self._lines: dict[Path, int] = {}
        self.twice: list[tuple[Path, int, int]] = []
        """Keys and tables given a second time: the path, the first line, the second."""
        self._defined: set[Path] = set()
        self._newest: dict[Path, int] = {}
        for table in Parser(Language(tree_sitter_toml.language())).parse(text).root_node.named_children:
            self._enter(table)

    def of(self, path: Path) -> int:
        """The line of a key; of the nearest table around it where the key itself is not in the file."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 1)

    def _enter(self, node: Node) -> None:
        if node.type == "pair":
            self._pair((), node)
        elif node.type in ("table", "table_array_element") and node.named_children:
            key, *pairs = node.named_children
            path = self._within(_parts(key))
            for depth in range(1, len(path)):
                self._note(path[:depth], key)
            if node.type == "table_array_element":
                self._note(path, key)
                index = self._newest[path] = self._newest.get(path, -1) + 1
                path += (index,)
                self._note(path, key)
            else:
                self._note(path, key, once=True)
            for pair in pairs:
                if pair.type == "pair":
                    self._pair(path, pair)

    def _within(self, parts: tuple[str, ...]) -> Path:
        """A header's path, with the newest element of every list of tables that it goes through."""
        path: Path = ()
        for position, part in enumerate(parts):
            path += (part,)
            if path in self._newest and position < len(parts) - 1:
                path += (self._newest[path],)
        return path

    def _pair(self, table: Path, node: Node) -> None:
        key, *values = _bare(node)
        path = table + _parts(key)
        for depth in range(len(table) + 1, len(path)):
            self._note(path[:depth], key)
        self._note(path, key, once=True)
        for value in values:
            self._value(path, value)

    def _value(self, path: Path, node: Node) -> None:
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    self._pair(path, child)
        elif node.type == "array":
            for index, child in enumerate(_bare(node)):
                self._note((*path, index), child)
                self._value((*path, index), child)

    def _note(self, path: Path, node: Node, *, once: bool = False) -> None:
        line = node.start_point.row + 1
        first = self._lines.setdefault(path, line)
        if once and path in self._defined:
            self.twice.append((path, first, line))
        if once:
            self._defined.add(path)


def _bare(node: Node) -> Iterator[Node]:
    """What a node holds, comments aside."""
    return (child for child in node.named_children if child.type != "comment")


def _parts(key: Node) -> tuple[str, ...]:
    """The names in a key, quoted or dotted. Text that is no key after all gives none."""
    try:
        table = tomllib.loads(f"{(key.text or b'').decode()} = 0")
    except (ValueError, RecursionError):
        return ()
    parts = []
    while isinstance(table, dict) and table:
        name, table = next(iter(table.items()))
        parts.append(name)
    return tuple(parts)
