// What is kept on this device: it survives a reload, an empty battery and a lost connection.

export function kept<T>(name: string, otherwise: T): T {
  try {
    const text = localStorage.getItem('mouldwright.' + name)
    return text === null ? otherwise : (JSON.parse(text) as T)
  } catch {
    return otherwise // storage is switched off, or holds something else
  }
}

export function keep(name: string, value: unknown): void {
  try {
    if (value === null) localStorage.removeItem('mouldwright.' + name)
    else localStorage.setItem('mouldwright.' + name, JSON.stringify(value))
  } catch {
    // Storage is switched off or full: the page works on, but forgets.
  }
}
