// Requests to the service, and ids that whoever creates a thing chooses.

/** A UUID of version 7 (RFC 9562, 5.7). Plain http has no crypto.randomUUID. */
export function newId(now = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let at = 0; at < 6; at += 1) bytes[at] = Math.floor(now / 2 ** (8 * (5 - at))) & 255;
  bytes[6] = (bytes[6] & 15) | 112;
  bytes[8] = (bytes[8] & 63) | 128;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}

/**
 * One request. Resolves to {status, ok, data, etag, problem}; `status` is 0 where no answer came,
 * and `problem` is the RFC 9457 document of a refusal. It never throws. `within` is how many
 * milliseconds an answer may take: on a line that died without a word none would ever come.
 */
export async function send(method, address, { body, etag, type = "application/json", within = 30_000, authorization } = {}) {
  const headers = { Accept: "application/json" };
  if (authorization) headers.Authorization = authorization;
  if (body !== undefined) headers["Content-Type"] = type;
  if (etag) headers["If-Match"] = etag;
  const document = body === undefined || type !== "application/json" ? body : JSON.stringify(body);
  try {
    return await limited(within, async (signal) => told(await fetch(address, { method, headers, body: document, credentials: "same-origin", signal })));
  } catch {
    return { status: 0, ok: false };
  }
}

async function told(answer) {
  const { status, ok } = answer;
  const said = { status, ok, etag: answer.headers.get("ETag"), retryAfter: Number(answer.headers.get("Retry-After")) };
  const kind = answer.headers.get("Content-Type") ?? "";
  return kind.includes("json") ? { ...said, [ok ? "data" : "problem"]: await answer.json() } : said;
}

/** What `work` makes of a request, which is given up after some milliseconds, its answer's body included. */
export async function limited(milliseconds, work) {
  const limit = new AbortController();
  const late = setTimeout(() => limit.abort(), milliseconds);
  try {
    return await work(limit.signal);
  } finally {
    clearTimeout(late);
  }
}

/** Whether a document is a refusal of the service: gateways speak JSON too. */
export const isRefusal = (document) => String(document?.type).startsWith("/problems/");

/** A reason as a sentence of its own. */
export const asSentence = (words) => `${words[0].toUpperCase()}${words.slice(1)}${/[.!?]$/.test(words) ? "" : "."}`;

/** What is wrong by a refusal, as people read it: of its fields one by one, without their places in the document. */
export const reasonsIn = ({ detail, errors = [] }) => (errors.length ? errors.map(named).join(" ") : (detail ?? ""));

// What goes on from the name of its field begins with a small letter.
function named({ pointer, detail }) {
  const name = pointer.split("/").at(-1);
  const goesOn = /^[a-z]/.test(detail) && /^[a-z_]+$/.test(name) && !detail.toLowerCase().includes(name);
  return goesOn ? asSentence(`${name.replaceAll("_", " ")}: ${detail}`) : asSentence(detail);
}

/** The last part of a problem's type: what kind of refusal it is. */
export const kindOf = (answer) => answer.problem?.type?.split("/").at(-1) ?? "";
