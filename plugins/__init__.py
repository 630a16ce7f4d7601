"""The shipped plugins, written as a stranger would write them; see README.md.

Each is listed with its module and the hooks it answers, so that a plugin is imported only when one of them is
asked. The order is that of this list, before all plugins of others.
"""

SHIPPED: dict[str, tuple[str, tuple[str, ...]]] = {
    "reports": ("gaugebook.plugins.reports", ("provide_report_formats",)),
    "schedule": ("gaugebook.plugins.schedule", ("provide_project_readers", "provide_case_readers")),
    "weather": ("gaugebook.plugins.weather", ("provide_design_temperatures",)),
    "module-table": ("gaugebook.plugins.module_table", ("provide_catalogues",)),
}
