// Elements without markup in strings: what a part or a file is called can never become markup.

type Child = Node | string | number | null | undefined | false
type Attrs = Record<string, string | number | boolean | null | undefined | ((e: Event) => void)>

export function h<K extends keyof HTMLElementTagNameMap>(tag: K, attrs: Attrs = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const el = document.createElement(tag)
  for (const [name, value] of Object.entries(attrs)) {
    if (value === null || value === undefined || value === false) continue
    if (typeof value === 'function') el.addEventListener(name, value)
    else if (value === true) el.setAttribute(name, '')
    else el.setAttribute(name, String(value))
  }
  el.append(...children.filter((c) => c !== null && c !== undefined && c !== false).map((c) => (typeof c === 'number' ? String(c) : (c as Node | string))))
  return el
}

/** Puts new children in, keeping the keyboard's place by data-key. */
export function rebuild(box: HTMLElement, ...children: Child[]): void {
  const key = box.contains(document.activeElement) ? (document.activeElement as HTMLElement).dataset['key'] : undefined
  const open = new Set([...box.querySelectorAll<HTMLDetailsElement>('details[open][data-key]')].map((d) => d.dataset['key']))
  box.replaceChildren(...(children.filter((c) => c !== null && c !== undefined && c !== false) as (Node | string)[]))
  for (const d of box.querySelectorAll<HTMLDetailsElement>('details[data-key]')) if (open.has(d.dataset['key'])) d.open = true
  if (key) box.querySelector<HTMLElement>(`[data-key="${CSS.escape(key)}"]`)?.focus({ preventScroll: true })
}

/** A number with at most d decimals and narrow, unbroken groups of thousands. */
export function num(v: number, d = 1): string {
  return v.toLocaleString('en-GB', { maximumFractionDigits: d }).replace(/,/g, '\u202f').replace(/^-/, '\u2212')
}

/** A number with just d decimals. */
export function fix(v: number, d: number): string {
  return v.toFixed(d).replace(/^-/, '\u2212')
}

export function direction(d: readonly number[]): string {
  const axes = ['x', 'y', 'z']
  for (let i = 0; i < 3; i++) if (Math.abs(Math.abs(d[i]!) - 1) < 1e-9) return (d[i]! > 0 ? '+' : '\u2212') + axes[i]
  return d.map((v) => fix(v, 3)).join(', ')
}

/** Words with a capital at their head. */
export const sentence = (w: string) => w.charAt(0).toUpperCase() + w.slice(1)
