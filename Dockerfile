# BASE: any image with Python 3.11 or newer on a Debian-like system, with pip.
ARG BASE=python:3.11-slim-bookworm

FROM ${BASE} AS build
WORKDIR /build
COPY pyproject.toml README.md LICENSE ./
COPY service service
RUN python3 -m venv /opt/leerie && /opt/leerie/bin/pip install --no-cache-dir .

FROM ${BASE}
COPY --from=build /opt/leerie /opt/leerie
RUN useradd --system --uid 9464 --home-dir /var/lib/leerie --create-home --shell /usr/sbin/nologin leerie
USER leerie
WORKDIR /var/lib/leerie
ENV PATH=/opt/leerie/bin:$PATH LEERIE_CONFIG=/etc/leerie/leerie.toml PYTHONUNBUFFERED=1
VOLUME /var/lib/leerie
EXPOSE 9464
HEALTHCHECK --interval=30s --timeout=10s --start-period=15s CMD ["leerie", "health"]
ENTRYPOINT ["leerie"]
CMD ["run"]
