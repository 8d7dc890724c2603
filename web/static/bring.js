// Records of another box, read from a file and sent in pieces.
import { counted, text } from "./parts.js";
import { post } from "./send.js";

const MOST_BYTES = 4_000_000;
const PIECE = 20_000;

/** Plain ASCII, so that a character is one everywhere it is counted. */
const escaped = (value) => JSON.stringify(value).replace(/[\u007f-\uffff]/g, (sign) =>
  `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`);

const upload = () => Array.from(crypto.getRandomValues(new Uint8Array(8)), (byte) =>
  byte.toString(16).padStart(2, "0")).join("");

/** Send a file's records; what became of it is said in the element. */
export async function bring(file, said) {
  if (file.size > MOST_BYTES) {
    text(said, `${file.name} has ${Math.round(file.size / 1e6)} MB, at most 4 MB are taken: bring in fewer gigs at once`);
    return;
  }
  let words;
  try {
    words = escaped(JSON.parse(await file.text()));
  } catch {
    text(said, `${file.name} is no record: choose a JSON file that another box gave out`);
    return;
  }
  const id = upload();
  for (let offset = 0; offset < words.length; offset += PIECE) {
    text(said, `sending, ${Math.round((100 * offset) / words.length)} %`);
    const last = offset + PIECE >= words.length;
    const { status, answer } = await post("/api/v1/import", {
      upload: id, offset, text: words.slice(offset, offset + PIECE), last,
    });
    if (status !== 200) {
      // Without an answer to the last piece all of it may be there; it is not doubled.
      const unsure = last && (status === 0 || status === 503);
      text(said, `${unsure ? "it may not have come in" : "nothing came in"}: ${answer.error ?? "the box did not take it"}`);
      return;
    }
    if (last) text(said, `came in: ${counted(answer.gigs ?? 0, "gig")}, ${counted(answer.rings ?? 0, "ring")}`);
  }
}
