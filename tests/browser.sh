#!/bin/sh
# Finds or fetches a Chromium for the tests marked `browser`: the machine's own, Debian's package when root, or
# playwright's build. With none the tests are skipped and say so; under CI=true that is a failure.
set -u

has_chromium() {
    command -v chromium >/dev/null || command -v chromium-browser >/dev/null || command -v google-chrome >/dev/null ||
        ls "${PLAYWRIGHT_BROWSERS_PATH:-${HOME:-/root}/.cache/ms-playwright}"/chromium* >/dev/null 2>&1
}

has_chromium && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "No Chromium here; installing Debian's package." >&2
    apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends chromium >/dev/null
fi
has_chromium || { echo "No Chromium here; asking playwright for its own." >&2; playwright install chromium; }
has_chromium && exit 0
echo "*** NO CHROMIUM COULD BE HAD: EVERY BROWSER TEST WILL BE SKIPPED ***" >&2
[ "${CI:-}" != true ]
