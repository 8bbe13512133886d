# One image for web, worker and beat: the command says which.
FROM node:22-slim AS browser-packages
WORKDIR /house
COPY package.json package-lock.json .npmrc ./
RUN npm ci --silent --omit=dev

FROM python:3.13-slim
ENV PYTHONUNBUFFERED=1 PYTHONDONTWRITEBYTECODE=1 KITPOST_DATA_DIR=/data
WORKDIR /house
COPY requirements.txt ./
RUN pip install --no-cache-dir --require-hashes -r requirements.txt
COPY --from=browser-packages /house/node_modules/tus-js-client/dist node_modules/tus-js-client/dist
COPY . .
# Processes that open uploads write nothing here: without this, each would compile the engine again.
RUN python -m compileall -q analysis portal
# Collecting needs settings, not secrets: this key signs nothing and is gone with the step.
RUN KITPOST_SECRET_KEY=only-while-files-are-collected KITPOST_BASE_URL=https://kit.example KITPOST_DATA_DIR=/tmp \
    python manage.py collectstatic --no-input \
    && useradd --uid 1000 --create-home kitpost && install -d -o kitpost /data
USER kitpost
VOLUME /data
EXPOSE 8000
CMD ["deploy/start-web"]
