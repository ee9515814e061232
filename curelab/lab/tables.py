"""Tables on a page, and a log as a list: rows of words in, HTML or Markdown out."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape


def folded(lines: str) -> str:
    """A log without its numbers and columns, one line a reading."""
    return "\n".join(f"- {' '.join(line.split()[1:])}" if line[:1] == " " else line for line in lines.splitlines())


# On a narrow page a table becomes one paragraph a row, with the word of its column before each cell.
STYLE = """<style>
.cl-table { container-type: inline-size; overflow-x: auto; max-width: 900px; font: 13px/1.5 var(--jp-ui-font-family, system-ui, sans-serif); font-variant-numeric: tabular-nums; }
.cl-table p { margin: 4px 0 0; opacity: .8; max-width: 68ch; font-size: 13px; line-height: 1.5; }
.cl-table table { border-collapse: collapse; }
.cl-table :is(th, td) { padding: 2px 16px 2px 0; text-align: left; vertical-align: top; border-top: 1px solid #8884; }
.cl-table td { white-space: nowrap; }
@container (max-width: 480px) {
  .cl-table :is(table, tbody, tr) { display: block; }
  .cl-table .cl-heads { display: none; }
  .cl-table tr { border-top: 1px solid #8884; padding: 3px 0; }
  .cl-table :is(th, td) { display: inline-block; border: 0; padding: 0 12px 0 0; white-space: normal; }
  .cl-table td:empty { display: none; }
  .cl-table td[data-of]:not([data-of=""])::before { content: attr(data-of) ": "; opacity: .75; }
}
</style>"""


def table(rows: Sequence[Sequence[str]], caption: str, heads: dict[int, str] | None = None) -> str:
    """Rows under a head as a table that a screen reader can walk; `heads`: words over the row of that number."""
    first = rows[0]
    names = "".join(f'<th scope="col">{escape(word)}</th>' for word in first)
    lines = [f'<tr class="cl-heads">{names}</tr>']
    for number, words in enumerate(rows[1:], 1):
        if heads and number in heads:
            lines.append(f'<tr><th scope="colgroup" colspan="{len(first)}">{escape(heads[number])}</th></tr>')
        cells = (f'<td data-of="{escape(of)}">{escape(word)}</td>' for of, word in zip(first, words, strict=True))
        lines.append(f"<tr>{''.join(cells)}</tr>")
    said = f"<p>{escape(caption)}</p>" if caption else ""
    return f'{STYLE}<div class="cl-table">{said}<table aria-label="{escape(caption)}">{"".join(lines)}</table></div>'
