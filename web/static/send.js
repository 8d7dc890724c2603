// Commands to the box.

/** Send a command; returns why it was refused, empty when it was taken. */
export async function send(path, command) {
  const answer = await fetch(path, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(command),
  }).catch(() => null);
  if (!answer) return "the box is not answering";
  if (answer.ok) return "";
  return (await answer.json().catch(() => ({}))).error ?? "the box did not take it";
}
