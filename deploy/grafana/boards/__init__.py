"""leerie's dashboards, as code, in Grafana's own typed SDK; what Grafana reads is written from here."""
