"""tuspy: sends one file, and goes on with it when it is given the address that it printed before."""

import json
import sys
import time

from tusclient.client import TusClient
from tusclient.exceptions import TusCommunicationError


def main(endpoint: str, path: str, headers: dict[str, str], metadata: dict[str, str], **more: object) -> None:
    client, url = TusClient(endpoint, headers=headers), more.get("uploadUrl")
    while True:
        try:
            uploader = client.uploader(path, url=url, chunk_size=more["chunkSize"], metadata=metadata)
            if not url:
                url = uploader.create_url()
                uploader.set_url(url)
                print(url, flush=True)  # noqa: T201
            uploader.upload()
            return
        except (TusCommunicationError, OSError) as error:
            print(error, file=sys.stderr)  # noqa: T201
            time.sleep(0.3)


if __name__ == "__main__":
    main(**json.loads(sys.argv[1]))
