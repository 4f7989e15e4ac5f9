"""How the page looks, on the screen and on paper: greys with equal red, green and blue."""

STYLE = """
:root { color-scheme: light dark; --page: #f7f7f7; --text: #1c1c1c; --line: #c4c4c4; --mid: #838383; }
@media (prefers-color-scheme: dark) { :root { --page: #1a1a1a; --text: #ededed; --line: #4a4a4a; } }
body { margin: 0; background: var(--page); color: var(--text); font: 17px/1.55 system-ui, sans-serif;
  font-variant-numeric: tabular-nums; }
main { max-width: 52rem; margin: 0 auto; padding: 2rem 1rem 4rem; overflow-wrap: anywhere; }
section { border-top: 1px solid var(--line); padding: .5rem 0 1.5rem; }
figure { display: inline-block; vertical-align: top; width: min(22rem, 100%); margin: 0 1rem 1rem 0; }
figure img { display: block; width: 100%; max-height: 30rem; object-fit: contain; background: var(--mid); }
figcaption { font-size: .94rem; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; margin-bottom: 1rem; }
th, td { border-bottom: 1px solid var(--line); padding: .4rem 1rem .4rem 0; text-align: left; white-space: nowrap; }
.swatch { display: inline-block; width: 1.4rem; height: 1.4rem; margin-right: .5rem; vertical-align: middle;
  border: .3rem solid var(--mid); print-color-adjust: exact; -webkit-print-color-adjust: exact; }
dt { font-weight: 650; } dd { margin: 0 0 .6rem; } dd p { margin: 0; }
summary { min-height: 44px; display: flex; align-items: center; cursor: pointer; }
@media print { body { background: none; color: #000; } section, figure { break-inside: avoid; } }
"""
