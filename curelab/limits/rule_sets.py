"""Named rule sets: which published limit on nitrite and nitrate holds for which product, where.

The limits themselves stand in `limits.csv`, with source and how each is known; here is only which row is
meant. Limits on the nitrite ion and on its sodium salt are kept apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from ..matter.solutes import nitrite_as
from ..sources import read_table


class Pick(NamedTuple):
    """Which row of `limits.csv` a rule set uses: for an agent, a kind of limit and a process ("" for any)."""

    agent: str
    kind: str
    process: str
    jurisdiction: str
    product_class: str


@dataclass(frozen=True)
class RuleSet:
    """A named set of rules: the rows that hold for each product."""

    name: str
    title: str
    products: dict[str, tuple[Pick, ...]]


def _us(wet: str, dry: str, nitrate: tuple[Pick, ...]) -> tuple[Pick, ...]:
    here, retail = "USA (USDA FSIS)", "USA (FDA)"
    return (
        Pick("nitrite", "max_ingoing", "immersion", here, wet),
        Pick("nitrite", "max_ingoing", "dry", here, dry),
        Pick("nitrite", "min_ingoing", "", here, "all cured Keep Refrigerated products"),
        *nitrate,
        Pick("nitrite", "max_residual", "", retail, "retail home-curing preparations"),
        Pick("nitrate", "max_residual", "", retail, "retail home-curing preparations"),
    )


def _nitrate(process: str, product_class: str) -> Pick:
    return Pick("nitrate", "max_ingoing", process, "USA (USDA FSIS)", product_class)


def _gb(*residual: tuple[str, str]) -> tuple[Pick, ...]:
    here = "UK (GB)"
    if residual:  # traditional products: only what remains is limited
        return tuple(Pick(agent, "max_residual", "", here, product_class) for agent, product_class in residual)
    return (
        Pick("nitrite", "max_ingoing", "", here, "meat products general"),
        Pick("nitrate", "max_ingoing", "", here, "non-heat-treated meat products"),
    )


_EU_GENERAL = "08.3.1 non-heat-treated and 08.3.2 heat-treated meat products"
_EU = (
    Pick("nitrite", "max_ingoing", "", "EU", _EU_GENERAL),
    Pick("nitrite", "max_residual", "", "EU", "general meat products"),
)
_CODEX = "08.2.2 heat-treated whole-piece (cooked cured ham CXS 96, pork shoulder CXS 97)"
_CANADA_LEAST = Pick("nitrite", "min_ingoing", "", "Canada", "cured products (to be called cured)")

RULE_SETS: dict[str, RuleSet] = {
    rules.name: rules
    for rules in (
        RuleSet(
            "US",
            "United States: FSIS amounts on green weight, FDA limits for home-curing preparations",
            {
                "cured meat": (
                    *_us(
                        "cured meat, immersion (not bacon)",
                        "dry cured (not bacon)",
                        (
                            _nitrate("immersion", "pumped/immersion, nitrate"),
                            _nitrate("dry", "dry cured, nitrate"),
                        ),
                    ),
                    Pick("nitrite", "max_residual", "", "USA (USDA FSIS)", "any cured product except bacon"),
                ),
                "bacon": _us("bacon, immersion", "bacon, dry cured", (_nitrate("", "bacon, any"),)),
            },
        ),
        RuleSet(
            "EU",
            "European Union from 9 October 2025, on the nitrite ion",
            {
                "cured meat": _EU,
                "bacon": _EU,
                "traditional": (
                    Pick(
                        "nitrite",
                        "max_residual",
                        "",
                        "EU",
                        "08.3.4 traditional products with residual limits",
                    ),
                ),
            },
        ),
        RuleSet(
            "GB",
            "Great Britain",
            {
                "cured meat": _gb(),
                "bacon": _gb(),
                "Wiltshire bacon": _gb(("nitrite", "Wiltshire bacon"), ("nitrate", "Wiltshire bacon and ham")),
                "Wiltshire ham": _gb(("nitrite", "Wiltshire ham"), ("nitrate", "Wiltshire bacon and ham")),
                "dry cured bacon": _gb(("nitrite", "dry cured bacon")),
                "dry cured ham": _gb(("nitrite", "dry cured ham")),
                "cured tongue": _gb(("nitrite", "cured tongue (immersion)")),
            },
        ),
        RuleSet(
            "Canada",
            "Canada",
            {
                "cured meat": (
                    Pick("nitrite", "max_ingoing", "", "Canada", "preserved meat except side bacon"),
                    _CANADA_LEAST,
                ),
                "bacon": (Pick("nitrite", "max_ingoing", "", "Canada", "side bacon"), _CANADA_LEAST),
            },
        ),
        RuleSet(
            "Codex",
            "Codex Alimentarius, on the nitrite ion that remains",
            {"cured meat": (Pick("nitrite", "max_residual", "", "Codex", _CODEX),)},
        ),
    )
}


@dataclass(frozen=True)
class Limit:
    """A row of `limits.csv` as a number: `value` mg/kg of `ion_or_salt` ("NaNO2", "NO2 ion", "NaNO3")."""

    value: float
    ion_or_salt: str
    kind: str
    agent: str
    source: str
    how: str
    product_class: str = ""

    def on_its_basis(self, fraction: float) -> float:
        """mg/kg, as this rule counts it, of a fraction of NaNO2 or NaNO3."""
        converted = nitrite_as(fraction, "NaNO2", "NO2 ion") if self.ion_or_salt == "NO2 ion" else fraction
        return 1e6 * float(converted)


def find(pick: Pick) -> Limit:
    """The limit a pick stands for. Raises LookupError unless exactly one row matches."""
    rows = [
        row
        for row in read_table("limits.csv")
        if row["jurisdiction"] == pick.jurisdiction
        and row["product_class"] == pick.product_class
        and row["kind"] == pick.kind
        and row["agent"].split("+")[0] == pick.agent
    ]
    if len(rows) != 1:
        raise LookupError(f"{len(rows)} rows of limits.csv match {pick}")
    row = rows[0]
    salt = "NaNO2" if pick.agent == "nitrite" else "NaNO3"
    basis = "NO2 ion" if row["expressed_as"].startswith("NO2 ion") else salt
    return Limit(
        float(row["limit_mg_per_kg"]), basis, row["kind"], pick.agent, row["source"], row["how"], row["product_class"]
    )


def picks(rule_set: str, product: str) -> tuple[Pick, ...]:
    """The rows of a product. Raises ValueError naming what there is."""
    if rule_set not in RULE_SETS:
        raise ValueError(f'"{rule_set}" is not one of {", ".join(RULE_SETS)}')
    products = RULE_SETS[rule_set].products
    if product not in products:
        raise ValueError(f'{rule_set} has no rules for "{product}" here; there is {", ".join(products)}')
    return products[product]
