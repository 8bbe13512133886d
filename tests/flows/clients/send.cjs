// tus-js-client in Node: sends one file, and goes on with it when it is given the address that it printed before.
const fs = require("node:fs");
const tus = require("tus-js-client");

const { endpoint, path, headers, metadata, uploadUrl, chunkSize, parallelUploads } = JSON.parse(process.argv[2]);
const upload = new tus.Upload(fs.createReadStream(path), {
  endpoint,
  headers,
  metadata,
  uploadUrl,
  chunkSize,
  parallelUploads,
  retryDelays: Array(200).fill(300),
  onUploadUrlAvailable: () => process.stdout.write(`${upload.url}\n`),
  onSuccess: () => process.exit(0),
  onError: (error) => {
    process.stderr.write(`${error}\n`);
    process.exit(1);
  },
});
upload.start();
