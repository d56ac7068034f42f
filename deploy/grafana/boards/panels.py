"""The few kinds of panel that all dashboards are made of.

Every panel has a title, a description (what it shows, what good looks like) and a unit. Queries are given as
{legend: PromQL}. Widths are in Grafana's grid of 24 columns; those of one line must add up to 24.
"""

from collections.abc import Mapping, Sequence

from grafana_foundation_sdk.builders import bargauge, common, dashboard, prometheus, stat, statetimeline, timeseries
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.cog.variants import Dataquery
from grafana_foundation_sdk.models import common as choice
from grafana_foundation_sdk.models.dashboard import (
    DashboardCursorSync,
    DashboardLinkType,
    DataSourceRef,
    DynamicConfigValue,
    FieldColorModeId,
    Threshold,
    ThresholdsMode,
    ValueMap,
    ValueMappingResult,
)

Panel = timeseries.Panel | stat.Panel | statetimeline.Panel | bargauge.Panel
Queries = Mapping[str, str]

PROMETHEUS = DataSourceRef("prometheus", "prometheus")
"""By the uid that provisioning/datasources/prometheus.yml gives it."""
GOOD, AMISS, PLAIN = "green", "red", "text"

STATES = {
    "none": "#2b2b31",
    "vacant": "#4b5a75",
    "arriving": "#c9b458",
    "occupied": "#f0a830",
    "grace": "#a5673f",
    "hold": "#8b6fc0",
}
"""A room's states, each at its place the number that `state_of` gives it, and its colour."""
YES_NO = {"no": STATES["none"], "yes": STATES["occupied"]}
WELL = {"no": AMISS, "yes": GOOD}
ILL = {"no": GOOD, "yes": AMISS}


def state_of(rooms: str = "") -> str:
    """Which state each room is in, as its place in `STATES`; `rooms` is a label matcher."""
    comma = ", " if rooms else ""
    terms = [
        f'{number} * leerie_room_state{{{rooms}{comma}state="{state}"}}'
        for number, state in enumerate(STATES)
        if state != "none"
    ]
    return f"sum by (room) ({' or '.join(terms)})"


def in_rooms(kind: str, metric: str, rooms: str = "") -> str:
    """What is known of each sensor or fixture (`kind`), with its rooms as another label."""
    return f"leerie_room_{kind}_info{{{rooms}}} * on (instance, {kind}) group_left () {metric}"


# ---- kinds of panel --------------------------------------------------------------------------------------------------


def curves(
    title: str,
    description: str,
    unit: str,
    queries: Queries,
    *,
    width: int = 12,
    steps: bool = False,
    log: bool = False,
) -> timeseries.Panel:
    """Values over time; `steps`: each holds until the next; `log`: on a scale of tenfold steps."""
    panel = (
        timeseries.Panel()
        .title(title)
        .description(description)
        .unit(unit)
        .targets(_targets(queries))
        .datasource(PROMETHEUS)
        .span(width)
        .height(8)
        .fill_opacity(6)
        .line_interpolation(choice.LineInterpolation.STEP_AFTER if steps else choice.LineInterpolation.LINEAR)
        .tooltip(common.VizTooltipOptions().mode(choice.TooltipDisplayMode.MULTI))
        .legend(_legend(shown=len(queries) > 1 or any("{{" in legend for legend in queries)))
    )
    if log:
        panel.scale_distribution(common.ScaleDistributionConfig().type(choice.ScaleDistribution.LOG).log(10))
    return panel


def timeline(
    title: str, description: str, values: Mapping[str, str], queries: Queries, *, width: int = 12, height: int = 8
) -> statetimeline.Panel:
    """A bar for each series, coloured by its value: 0 is the first of `values` (word → colour), 1 the second, …"""
    return (
        statetimeline.Panel()
        .title(title)
        .description(description)
        .unit("none")
        .targets(_targets(queries))
        .datasource(PROMETHEUS)
        .span(width)
        .height(height)
        .mappings([_words(values)])
        .color_scheme(dashboard.FieldColor().mode(FieldColorModeId.FIXED).fixed_color(PLAIN))
        .merge_values(True)
        .show_value(choice.VisibilityMode.NEVER)
        .legend(_legend(shown=True))
    )


def figure(
    title: str,
    description: str,
    unit: str,
    queries: Queries,
    *,
    width: int = 4,
    amiss_from: float | None = None,
    values: Mapping[str, str] | None = None,
) -> stat.Panel:
    """The newest value, large; red from `amiss_from` on, or in words and colours as in a timeline."""
    panel = (
        stat.Panel()
        .title(title)
        .description(description)
        .unit(unit)
        .targets(_targets(queries, newest=True))
        .datasource(PROMETHEUS)
        .span(width)
        .height(4)
        .graph_mode(choice.BigValueGraphMode.NONE)
        .color_mode(choice.BigValueColorMode.VALUE)
        .reduce_options(common.ReduceDataOptions().calcs(["lastNotNull"]))
        .thresholds(_from(amiss_from))
    )
    if values is not None:
        panel.mappings([_words(values)])
    if any("{{" in legend for legend in queries):
        panel.text_mode(choice.BigValueTextMode.NAME)
    return panel


def bars(
    title: str,
    description: str,
    unit: str,
    queries: Queries,
    *,
    width: int = 12,
    highest: float | None = None,
    amiss_from: float | None = None,
) -> bargauge.Panel:
    """The newest values beside each other; red from `amiss_from` on."""
    panel = (
        bargauge.Panel()
        .title(title)
        .description(description)
        .unit(unit)
        .targets(_targets(queries, newest=True))
        .datasource(PROMETHEUS)
        .span(width)
        .height(8)
        .orientation(choice.VizOrientation.HORIZONTAL)
        .display_mode(choice.BarGaugeDisplayMode.BASIC)
        .reduce_options(common.ReduceDataOptions().calcs(["lastNotNull"]))
        .thresholds(_from(amiss_from))
        .min(0)
    )
    if highest is not None:
        panel.max(highest)
    return panel


def in_red(panel: timeseries.Panel, legend: str) -> timeseries.Panel:
    """One of the curves is bad news."""
    return panel.override_by_name(legend, [DynamicConfigValue("color", {"mode": "fixed", "fixedColor": AMISS})])


# ---- a dashboard -----------------------------------------------------------------------------------------------------


def board(name: str, description: str, sections: Mapping[str, Sequence[Panel]]) -> dashboard.Dashboard:
    """A dashboard `leerie: NAME` with panels under headings; its uid stays what it is: bookmarks hold on to it."""
    made = (
        dashboard.Dashboard(f"leerie: {name}")
        .uid(f"leerie-{name}")
        .description(description)
        .tags(["leerie"])
        .timezone("browser")
        .time("now-24h", "now")
        .refresh("30s")
        .tooltip(DashboardCursorSync.CROSSHAIR)
        .link(
            dashboard.DashboardLink("leerie")
            .type(DashboardLinkType.DASHBOARDS)
            .tags(["leerie"])
            .keep_time(True)
            .include_vars(True)
        )
        .readonly()
    )
    number = 0
    for heading, panels in sections.items():
        number += 1
        made.with_row(dashboard.Row(heading).id(number))
        for panel in panels:
            number += 1
            made.with_panel(panel.id(number))
    return made


# ---- their parts -----------------------------------------------------------------------------------------------------


def _targets(queries: Queries, *, newest: bool = False) -> list[Builder[Dataquery]]:
    targets: list[Builder[Dataquery]] = []
    for letter, (legend, expression) in zip("ABCDEFGH", queries.items(), strict=False):
        target = prometheus.Dataquery().ref_id(letter).expr(expression).legend_format(legend).datasource(PROMETHEUS)
        targets.append(target.instant() if newest else target.range())
    return targets


def _words(values: Mapping[str, str]) -> ValueMap:
    return ValueMap(
        {
            str(number): ValueMappingResult(text=word, color=colour, index=number)
            for number, (word, colour) in enumerate(values.items())
        }
    )


def _from(amiss: float | None) -> dashboard.ThresholdsConfig:
    steps = [Threshold(None, PLAIN)] if amiss is None else [Threshold(None, GOOD), Threshold(amiss, AMISS)]
    return dashboard.ThresholdsConfig().mode(ThresholdsMode.ABSOLUTE).steps(steps)


def _legend(*, shown: bool) -> common.VizLegendOptions:
    return (
        common.VizLegendOptions()
        .show_legend(shown)
        .display_mode(choice.LegendDisplayMode.LIST)
        .placement(choice.LegendPlacement.BOTTOM)
    )
