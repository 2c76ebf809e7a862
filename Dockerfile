FROM python:3.11-slim AS build
WORKDIR /service
# Includes the optional solver for dispatch plans.
COPY .requirements-planner.lock ./
RUN python -m venv /opt/venv && /opt/venv/bin/pip install --no-cache-dir --require-hashes --only-binary :all: -r .requirements-planner.lock

FROM python:3.11-slim
# A volume mounted at /backups takes the owner of this directory.
RUN useradd --system --uid 10001 surveys && install -d -o surveys /backups
WORKDIR /service
COPY --from=build /opt/venv /opt/venv
COPY manage.py ./
COPY surveys surveys
COPY compute compute
ENV PATH=/opt/venv/bin:$PATH PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1
# The service user cannot write here. Compile now, otherwise each process compiles every module at start.
RUN python -m compileall -q compute surveys
USER surveys
EXPOSE 8000
CMD ["python", "manage.py", "serve", "--bind", "0.0.0.0:8000"]
