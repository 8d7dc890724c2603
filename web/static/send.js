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

/**
 * Asks one command after the other, so that no tap is lost while the one before is answered; a
 * second tap on the same is none.  What was refused is said in the element.
 */
export function asker(path) {
  let asking = Promise.resolve();
  let under = ""; // the newest, until it is answered
  return (command, said) => {
    const key = JSON.stringify(command);
    if (key !== under) {
      under = key;
      asking = asking.then(async () => {
        said.textContent = "";
        const refused = await send(path, command);
        said.textContent = refused;
        if (under === key) under = "";
        return refused;
      });
    }
    return asking;
  };
}
