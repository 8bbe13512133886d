"""An S3 server for tests: OpenStack Swift with its S3 interface, whole, in one process, in a folder of its own.

Run by the interpreter of its own environment: python s3_server.py FOLDER PORT ACCESS_KEY SECRET_KEY
"""

from __future__ import annotations

import sys
import warnings
from pathlib import Path

# Swift says itself that it is to leave this library one day.
warnings.simplefilter("ignore")

import eventlet  # noqa: E402

eventlet.monkey_patch()

from eventlet import wsgi  # noqa: E402
from swift.common import constraints, storage_policy, utils  # noqa: E402

PROXY = """
[DEFAULT]
swift_dir = {folder}
[pipeline:main]
pipeline = catch_errors listing_formats s3api tempauth copy bulk slo dlo proxy-server
[app:proxy-server]
use = egg:swift#proxy
account_autocreate = true
[filter:catch_errors]
use = egg:swift#catch_errors
[filter:listing_formats]
use = egg:swift#listing_formats
[filter:s3api]
use = egg:swift#s3api
location = us-east-1
check_bucket_owner = false
[filter:tempauth]
use = egg:swift#tempauth
user_{account}_{user} = {secret} .admin
[filter:copy]
use = egg:swift#copy
[filter:bulk]
use = egg:swift#bulk
[filter:slo]
use = egg:swift#slo
[filter:dlo]
use = egg:swift#dlo
"""


def make_rings(folder: Path, ports: dict[str, int]) -> None:
    from swift.common.ring import RingBuilder

    for name, port in ports.items():
        builder = RingBuilder(4, 1, 0)
        builder.add_dev(
            {"id": 0, "region": 1, "zone": 1, "ip": "127.0.0.1", "port": port, "device": "disk", "weight": 1}
        )
        builder.rebalance()
        builder.get_ring().save(str(folder / f"{name}.ring.gz"))


def main(folder: Path, port: int, access_key: str, secret: str) -> None:
    account, user = access_key.split(":")
    (folder / "devices" / "disk").mkdir(parents=True, exist_ok=True)
    conf = folder / "swift.conf"
    conf.write_text("[swift-hash]\nswift_hash_path_suffix = tests\n")
    utils.SWIFT_CONF_FILE = storage_policy.SWIFT_CONF_FILE = str(conf)
    utils.validate_hash_conf()
    constraints.reload_constraints()
    storage_policy.reload_storage_policies()
    sockets = {name: eventlet.listen(("127.0.0.1", 0)) for name in ("account", "container", "object")}
    make_rings(folder, {name: socket.getsockname()[1] for name, socket in sockets.items()})
    settings = {"devices": str(folder / "devices"), "mount_check": "false", "swift_dir": str(folder), "bind_port": "1"}
    from swift.account.server import AccountController
    from swift.container.server import ContainerController
    from swift.obj.server import ObjectController

    makers = {"account": AccountController, "container": ContainerController, "object": ObjectController}
    quiet = utils.get_logger({"log_level": "ERROR"})
    for name, socket in sockets.items():
        eventlet.spawn(wsgi.server, socket, makers[name](settings), quiet, log_output=False)
    from swift.common.wsgi import loadapp

    proxy = folder / "proxy.conf"
    proxy.write_text(PROXY.format(folder=folder, account=account, user=user, secret=secret))
    wsgi.server(eventlet.listen(("127.0.0.1", port)), loadapp(str(proxy)), quiet, log_output=False)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4])
