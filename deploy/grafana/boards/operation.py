"""leerie as a program: its broker, its messages, its machine."""

from deploy.grafana.boards.panels import ILL, WELL, Panel, bars, board, curves, figure, in_red, timeline
from grafana_foundation_sdk.builders.dashboard import Dashboard

PROCESS = 'job="leerie"'


def operation() -> Dashboard:
    return board(
        "operation",
        "leerie as a program: broker, messages, commands, delays, memory, config and clock.",
        {
            "Now": _now(),
            "Broker": _broker(),
            "In": _in(),
            "Out": _out(),
            "The process": _process(),
        },
    )


def _now() -> list[Panel]:
    return [
        figure(
            "Answers",
            "Whether Prometheus gets leerie's page. Good: yes.",
            "none",
            {"answers": f"min(up{{{PROCESS}}})"},
            values=WELL,
        ),
        figure(
            "Connected",
            "Whether leerie has its broker and has heard all that it kept. Good: yes.",
            "none",
            {"connected": "min(leerie_broker_connected)"},
            values=WELL,
        ),
        figure(
            "Config holds",
            "No: it was read anew and is not right; leerie goes on with the one before. Good: yes.",
            "none",
            {"holds": "min(leerie_config_reload_ok)"},
            values=WELL,
        ),
        figure(
            "Clock known",
            "Whether the wall clock is known to be right; until then no day part holds. Good: yes, from ten minutes "
            "after the machine's start on.",
            "none",
            {"known": "min(leerie_clock_known)"},
            values=WELL,
        ),
        figure(
            "Running since",
            "When the process began. Good: when you last started it.",
            "dateTimeFromNow",
            {"since": f"1000 * max(process_start_time_seconds{{{PROCESS}}})"},
        ),
        figure(
            "Version",
            "Which leerie runs. Good: the newest, and the same everywhere.",
            "none",
            {"{{version}}": "leerie_build_info"},
        ),
    ]


def _broker() -> list[Panel]:
    return [
        timeline(
            "Connection",
            "Whether leerie has its broker, over time. Good: one bar. Gaps that come at the same time each day have a "
            "cause: look at what runs then.",
            WELL,
            {"connected": "min(leerie_broker_connected)", "answers": f"min(up{{{PROCESS}}})"},
        ),
        curves(
            "Connections lost and found again",
            "Reconnections within the last hour. Good: 0; one when the broker was restarted.",
            "none",
            {"in the last hour": "sum(increase(leerie_broker_reconnects_total[1h]))"},
            steps=True,
        ),
    ]


def _in() -> list[Panel]:
    return [
        curves(
            "Messages taken",
            "What sensors, feeds and people say, by kind. Good: a rhythm of days. One kind that stops is a gateway "
            "that has.",
            "cpm",
            {"{{kind}}": "60 * sum by (kind) (rate(leerie_messages_received_total[$__rate_interval]))"},
        ),
        curves(
            "Messages refused",
            "Those that cannot be right, by the reason; they change nothing. Good: 0. The log's refused says what "
            "was wrong and what is allowed.",
            "cpm",
            {"{{reason}}": "60 * sum by (reason) (rate(leerie_messages_refused_total[$__rate_interval]))"},
        ),
        bars(
            "Last heard",
            "How long ago each sensor said anything; those that have not since leerie's start are left out. Good: "
            "minutes or hours, as the sensor does. A presence sensor that has been quiet for days sees nobody, or "
            "nothing.",
            "s",
            # NaN, of those not heard yet, is greater than nothing; a clock that differs a little may bring less than 0.
            {"{{sensor}}": "time() - leerie_sensor_last_seen_timestamp_seconds > -60"},
        ),
        timeline(
            "Sensors that are out",
            "Gone, or silent for longer than alive allows. Good: no. Several at once: their gateway.",
            ILL,
            {"{{sensor}}": "max by (sensor) (leerie_sensor_out)"},
        ),
    ]


def _out() -> list[Panel]:
    return [
        curves(
            "Commands",
            "What lamps are told, by why. Good: mostly refresh by day and night, occupancy where people are.",
            "cpm",
            {"{{cause}}": "60 * sum by (cause) (rate(leerie_commands_sent_total[$__rate_interval]))"},
        ),
        in_red(
            curves(
                "Commands that did not go out",
                "Replaced: a newer one came before a lamp's pace let the older one out, which is as it should be. "
                "Not taken: the broker refused it, and its access list may say why. Good: no red one.",
                "cpm",
                {
                    "replaced": "60 * sum(rate(leerie_commands_coalesced_total[$__rate_interval]))",
                    "not taken by the broker": "60 * sum(rate(leerie_commands_undelivered_total[$__rate_interval]))",
                },
            ),
            "not taken by the broker",
        ),
        curves(
            "Delay",
            "From a message's coming in to its last command's handing over to the broker client, over the last hour: "
            "half of them are faster, and all but one in a hundred. Good: some milliseconds.",
            "s",
            {
                "half": _quantile(0.5),
                "99 of 100": _quantile(0.99),
            },
        ),
        curves(
            "Decisions that commanded",
            "Messages that led to a command. Good: fewer than are taken.",
            "cpm",
            {"decisions": "60 * sum(rate(leerie_decision_seconds_count[$__rate_interval]))"},
        ),
    ]


def _process() -> list[Panel]:
    return [
        curves(
            "Memory",
            "Resident. Good: level, at some tens of MB; it grows with the building, not with time.",
            "bytes",
            {"resident": f"max(process_resident_memory_bytes{{{PROCESS}}})"},
            width=6,
        ),
        curves(
            "Processor",
            "Share of one processor. Good: a few percent at most.",
            "percentunit",
            {"busy": f"sum(rate(process_cpu_seconds_total{{{PROCESS}}}[$__rate_interval]))"},
            width=6,
        ),
        curves(
            "Open files",
            "Of the process, sockets included. Good: level, some twenty.",
            "none",
            {"open": f"max(process_open_fds{{{PROCESS}}})"},
            width=6,
        ),
        curves(
            "Clock ahead",
            "How far leerie's wall clock is ahead of Prometheus', or behind it (below 0). Good: less than a second.",
            "s",
            {"ahead": "max(leerie_clock_timestamp_seconds - timestamp(leerie_clock_timestamp_seconds))"},
            width=6,
        ),
        timeline(
            "Config and clock",
            "Whether the config, as last read, holds, and whether the clock is known to be right. Good: yes.",
            WELL,
            {"config holds": "min(leerie_config_reload_ok)", "clock known": "min(leerie_clock_known)"},
            height=5,
        ),
        timeline(
            "Deciding, records and journal",
            "Whether the loop turns, and whether what must survive a restart, and what is heard, get to the disk. A "
            "part that the config does not ask for is left out. Good: yes.",
            WELL,
            {"{{part}}": "min by (part) (leerie_working)"},
            height=5,
        ),
    ]


def _quantile(share: float) -> str:
    return f"histogram_quantile({share}, sum by (le) (rate(leerie_decision_seconds_bucket[1h])))"
