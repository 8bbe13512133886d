// What was dropped or chosen, as a flat list of files with the folder that each lies in.
import { leftoversAmong } from "kitpost/upload/leftovers";

const NAMES_SHOWN = 3;

/** {files: [{file, folder}], leftOut: [names]} of what was dropped: files, and folders with all that is in them. */
export async function gatherDropped(transfer) {
  // The list is emptied as soon as the event is over: entries are taken from it at once.
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return sorted([...transfer.files].map((file) => ({ file, path: file.name })));
  const found = [];
  for (const entry of entries) await walk(entry, "", found);
  return sorted(found);
}

/** The same of what was chosen: a folder's files know their path in it. */
export function gatherChosen(files) {
  return sorted([...files].map((file) => ({ file, path: file.webkitRelativePath || file.name })));
}

async function walk(entry, folder, found) {
  const path = folder ? `${folder}/${entry.name}` : entry.name;
  if (entry.isFile) {
    found.push({ file: await fileOf(entry), path });
    return;
  }
  const reader = entry.createReader();
  // A folder is read in portions of a hundred or so, until one is empty.
  for (let portion = await read(reader); portion.length; portion = await read(reader)) {
    for (const inner of portion) await walk(inner, path, found);
  }
}

function fileOf(entry) {
  return new Promise((resolve, reject) => entry.file(resolve, reject));
}

function read(reader) {
  return new Promise((resolve, reject) => reader.readEntries(resolve, reject));
}

function sorted(found) {
  const isLeftOut = leftoversAmong(found.map(({ file, path }) => ({ path, size: file.size })));
  const kept = found.filter((_, at) => !isLeftOut[at]);
  const leftOut = found.filter((_, at) => isLeftOut[at]).map(({ file }) => file.name);
  return { files: withoutCommonFolder(kept), leftOut };
}

/** The folder that everything lies in says nothing: it is called after the song, or the day. */
export function withoutCommonFolder(found) {
  let folders = found.map(({ path }) => path.split("/").slice(0, -1));
  while (folders.length && folders.every((parts) => parts.length && parts[0] === folders[0][0])) {
    folders = folders.map((parts) => parts.slice(1));
  }
  return found.map(({ file }, index) => ({ file, folder: folders[index].join("/") }));
}

export function leftOutWords(names) {
  if (!names.length) return "";
  const shown = [...new Set(names)].slice(0, NAMES_SHOWN).join(", ");
  const more = names.length > NAMES_SHOWN ? ", …" : "";
  return `Left out: ${filesWords(names.length)} with system or program data (${shown}${more}).`;
}

export function filesWords(count) {
  return count === 1 ? "1 file" : `${count} files`;
}
