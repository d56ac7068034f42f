# BASE: any image with Python 3.11 or newer and its venv module.
ARG BASE=python:3.11-slim-bookworm

FROM ${BASE} AS build
WORKDIR /build
COPY deploy/requirements.txt deploy/requirements-build.txt ./
# pip and hatchling stay behind in this stage. Nothing is built here but leerie, and nothing comes that has no hash.
RUN python3 -m venv tools \
    && tools/bin/pip install --no-cache-dir --only-binary :all: --require-hashes -r requirements-build.txt \
    && python3 -m venv --without-pip /opt/leerie \
    && tools/bin/pip --python /opt/leerie/bin/python install --no-cache-dir --only-binary :all: --require-hashes -r requirements.txt
COPY pyproject.toml README.md LICENSE ./
COPY service service
RUN tools/bin/pip wheel --no-cache-dir --no-deps --no-build-isolation --wheel-dir wheel . \
    && tools/bin/pip --python /opt/leerie/bin/python install --no-cache-dir --no-deps --no-index wheel/*.whl

FROM ${BASE}
# No home, no shell. The state folder is all it may write; the root may be read-only.
RUN groupadd --gid 9464 leerie \
    && useradd --uid 9464 --gid 9464 --no-log-init --no-create-home --home-dir /var/lib/leerie --shell /usr/sbin/nologin leerie \
    && install --directory --owner=9464 --group=9464 --mode=0700 /var/lib/leerie \
    && install --directory /etc/leerie
COPY --from=build /opt/leerie /opt/leerie
USER 9464:9464
WORKDIR /var/lib/leerie
ENV PATH=/opt/leerie/bin:$PATH \
    PYTHONDONTWRITEBYTECODE=1 \
    PYTHONUNBUFFERED=1 \
    LEERIE_CONFIG=/etc/leerie/leerie.toml \
    LEERIE_SERVICE__STATE_DIR=/var/lib/leerie
VOLUME /var/lib/leerie
EXPOSE 9464
HEALTHCHECK --interval=30s --timeout=10s --start-period=20s --retries=3 CMD ["leerie", "health"]
ENTRYPOINT ["leerie"]
CMD ["run"]
