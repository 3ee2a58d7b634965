// Calls to the server; docs/api.md describes what it answers.

export interface Place { line: number; column: number; key?: string }

/** status 0: there was no answer. */
export class ApiError extends Error {
  constructor(readonly status: number, message: string, readonly place?: Place) {
    super(message)
  }
}

export async function call(method: string, path: string, body?: unknown): Promise<Response> {
  const raw = body instanceof Blob
  const init: RequestInit = { method, credentials: 'same-origin' }
  if (body !== undefined) {
    init.headers = { 'Content-Type': raw ? 'application/octet-stream' : 'application/json' }
    init.body = raw ? body : JSON.stringify(body)
  }
  let res: Response
  try {
    res = await fetch(path, init)
  } catch {
    throw new ApiError(0, 'The server does not answer. Is mouldwright still running?')
  }
  if (res.ok) return res
  const p = (await res.json().catch(() => ({}))) as { detail?: string; place?: Place; errors?: string[] }
  const words = [p.detail ?? `the server answered ${res.status}`, ...(p.errors ?? [])].join('; ')
  throw new ApiError(res.status, words, p.place)
}

export async function json<T>(method: string, path: string, body?: unknown): Promise<T> {
  return (await (await call(method, path, body)).json()) as T
}

export const at = (id: string) => `/api/jobs/${encodeURIComponent(id)}`
