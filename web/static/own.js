// What this browser keeps of its own: in private browsing, or without room, it lasts as long as the page.

/** What is kept under a name; empty where nothing is, or may be. */
export function kept(name) {
  try {
    return localStorage.getItem(name) ?? "";
  } catch {
    return "";
  }
}

/** Keep words under a name, empty ones to forget them; returns whether the browser did. */
export function keep(name, words) {
  try {
    if (words) localStorage.setItem(name, words);
    else localStorage.removeItem(name);
    return true;
  } catch {
    return false;
  }
}
