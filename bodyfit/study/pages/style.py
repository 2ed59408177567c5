"""Looks of the inspection page: one narrow column of text, timelines as wide as the window, ink on white."""

from __future__ import annotations

STYLE = """
:root { --ink: #1b1b1b; --soft: #565656; --line: #c9c9c9; --serious: #a33c00; --gutter: 7.5rem; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 0 1rem 3rem; max-width: 84rem; color: var(--ink); background: #fff;
  font: 1rem/1.45 system-ui, sans-serif; }
h1 { font-size: 1.6rem; line-height: 1.2; margin: 1.5rem 0 0.3rem; overflow-wrap: anywhere; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 0.5rem; border-bottom: 2px solid var(--ink); }
h3 { font-size: 1.05rem; margin: 1.6rem 0 0.2rem; overflow-wrap: anywhere; }
p { margin: 0.3rem 0; max-width: 46rem; }
a { color: #004f7c; }
a:focus-visible, [tabindex]:focus-visible { outline: 3px solid #004f7c; outline-offset: 2px; }
.skip { position: absolute; left: -99rem; } .skip:focus { left: 1rem; top: 0.5rem; background: #fff; }
.soft { color: var(--soft); font-size: 0.9rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; }
td { white-space: nowrap; }
th, td { padding: 0.2rem 0.9rem 0.2rem 0; text-align: left; vertical-align: top;
  border-bottom: 1px solid var(--line); }
th { font-weight: 600; font-size: 0.85rem; color: var(--soft); }
tbody th { color: var(--ink); font-size: 1rem; position: sticky; left: 0; background: #fff; }
td.text { white-space: normal; }
span.text { white-space: normal; display: inline-block; min-width: 18rem; }
td.n, th.n { text-align: right; white-space: nowrap; }
ol.findings { padding: 0; list-style: none; max-width: 60rem; }
ol.findings > li { border-left: 4px solid var(--line); padding: 0.3rem 0 0.3rem 0.8rem; margin: 0.7rem 0; }
li.serious { border-left: 10px solid var(--serious) !important; }
li.warning { border-left: 6px double var(--ink) !important; }
li p { margin: 0.1rem 0; }
.severity { font-weight: 700; } .serious .severity { color: var(--serious); }
.plot { display: grid; grid-template-columns: var(--gutter) minmax(0, 1fr); margin: 0.3rem 0; }
.plot img { width: 100%; display: block; }
.gutter { position: relative; font-size: 0.78rem; line-height: 1.1; }
.gutter > * { position: absolute; right: 0.4rem; white-space: nowrap; transform: translateY(-50%); }
.gutter > .lane { left: 0; right: 2.6rem; white-space: normal; transform: none; font-weight: 600; }
.field { position: relative; }
.axis { grid-column: 2; position: relative; height: 1.3rem; font-size: 0.78rem;
  border-top: 1px solid var(--ink); }
.axis span { position: absolute; transform: translateX(-50%); white-space: nowrap; }
.axis span.first { transform: none; } .axis span.last { transform: translateX(-100%); }
.flags { grid-column: 2; position: relative; }
.flags a { position: absolute; transform: translateX(-50%); font-size: 0.75rem; line-height: 1.15rem;
  min-width: 1.2rem; padding: 0 0.2rem; text-align: center; background: #fff; border: 1px solid var(--ink);
  border-radius: 0.2rem; text-decoration: none; color: var(--ink); }
.flags a.serious { background: var(--serious); border-color: var(--serious); color: #fff; font-weight: 700; }
.line { position: absolute; top: 0; bottom: 0; border-left: 1px dotted var(--ink); pointer-events: none; }
.bar { display: inline-block; height: 0.7rem; background: #0072b2; }
.b { width: 20rem; } table { min-width: 18rem; }
.named { --gutter: 9.5rem; }
.named .gutter > * { max-width: 100%; overflow: hidden; text-overflow: ellipsis; }
.caution { border: 1px solid var(--ink); padding: 0.6rem 0.8rem; max-width: 60rem; margin-top: 2.5rem; }
@media (max-width: 600px) {
  :root { --gutter: 5.4rem; } body { padding: 0 0.6rem 2rem; }
  th, td { padding-right: 0.55rem; font-size: 0.85rem; } tbody th { font-size: 0.85rem; }
  .b { display: none; } .named { --gutter: 7.5rem; }
}
@media print {
  body { font-size: 9.5pt; max-width: none; } section.unit, ol.findings > li, tr { break-inside: avoid; }
  h2, h3, h2 + .soft { break-after: avoid; } .skip, nav { display: none; } .wide { overflow: visible; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; }
}
"""
