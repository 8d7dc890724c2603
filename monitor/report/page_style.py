"""The report's look: dark on light, thin lines, nothing that needs a colour to be read."""

from __future__ import annotations

import base64
import hashlib

STYLE = """
:root {
  --ground: #fff; --paper: #1b1812; --quiet: #57503f; --line: #d5cdbc; --candle: #8a4b00;
}
* { box-sizing: border-box; margin: 0; }
body {
  background: var(--ground); color: var(--paper);
  font: 16px/1.4 system-ui, sans-serif; font-variant-numeric: tabular-nums;
  max-width: 62rem; margin: 0 auto; padding: 0.8rem;
}
h1 { font-size: 1.5rem; line-height: 1.2; overflow-wrap: anywhere; overflow: hidden;
  display: -webkit-box; -webkit-box-orient: vertical; -webkit-line-clamp: 2; }
h2 { font-size: 1rem; margin: 1.3em 0 0.3em; border-bottom: 1px solid var(--line); }
p, li, dd, dt, td, th { overflow-wrap: anywhere; }
.when { font-size: 1.05rem; }
.doubt {
  border: 2px dashed var(--paper); border-radius: 6px; padding: 0.2rem 0.6rem;
  margin-top: 0.4rem; display: inline-block;
}
.counts { font-size: 1.25rem; font-weight: 700; margin: 0.3rem 0 0.6rem; }
.wide { overflow-x: auto; }
figure svg { display: block; width: 100%; min-width: 42rem; }
figure .upright svg { min-width: 0; }
.upright + .wide { display: none; }
figcaption, .quiet { color: var(--quiet); font-size: 0.9em; }
ol, ul { padding-left: 1.3em; }
.next li { margin: 0.35em 0; break-inside: avoid; }
.next b { display: block; }
dl { display: grid; grid-template-columns: minmax(5.5em, auto) 1fr; gap: 0.15em 0.9em; }
dt { color: var(--quiet); max-width: 9em; }
table { border-collapse: collapse; width: 100%; }
th { text-align: right; font-weight: 600; color: var(--quiet); white-space: nowrap; }
td { text-align: right; border-top: 1px solid var(--line); white-space: nowrap; }
th, td { padding: 0.15em 0.5em; vertical-align: bottom; }
th:first-child, td:first-child { text-align: left; font-weight: 700; padding-left: 0; }
.both { display: grid; gap: 0 1.6rem; }
footer { margin-top: 1.4em; border-top: 1px solid var(--line); padding-top: 0.4em; }
:focus-visible { outline: 3px solid var(--candle); outline-offset: 2px; }
@media (min-width: 700px), print {
  .both { grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); }
  figure svg { min-width: 0; }
  .wide { overflow: visible; }
  .upright { display: none; }
  .upright + .wide { display: block; }
}
@page { size: auto; margin: 11mm 12mm; }
@media print {
  body { font-size: 9pt; line-height: 1.3; padding: 0; max-width: none; }
  h1 { font-size: 16pt; }
  h2 { margin-top: 0.9em; break-after: avoid; }
  figure, tr, footer { break-inside: avoid; }
  figure svg { max-height: 125mm; }
  .pulled svg { max-height: 62mm; }
}
"""

POLICY = (
    "default-src 'none'; style-src 'sha256-"
    + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    + "'; base-uri 'none'; form-action 'none'"
)
"""The report's own Content-Security-Policy: this very style, and nothing else at all."""
