// Commands to the box, and questions to the page's server.

/** Send JSON; returns { status, answer }, status 0 when nobody answered. */
export async function post(path, body) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: typeof body === "string" ? body : JSON.stringify(body),
    signal: AbortSignal.timeout(10_000),
  }).catch(() => null);
  if (!answer) return { status: 0, answer: { error: "the box is not answering" } };
  const read = await answer.json().catch(() => ({}));
  return { status: answer.status, answer: read };
}

/** Send a command; returns why it was refused, empty when it was taken. */
export async function send(path, command) {
  const { status, answer } = await post(path, command);
  return status === 200 ? "" : answer.error ?? "the box did not take it";
}
