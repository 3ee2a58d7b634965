// Places in a text file, as the server names them: in words, and in the text itself.
import type { Place } from './http'

export function placed(words: string, place?: Place): string {
  if (!place) return words
  return `${place.line ? `line ${place.line}, column ${place.column}: ` : ''}${place.key ? place.key + ': ' : ''}${words}`
}

/** Marks the line of a place, and brings it into view. */
export function toLine(area: HTMLTextAreaElement, place?: Place): void {
  if (!place?.line) return
  const lines = area.value.split('\n')
  const start = lines.slice(0, place.line - 1).join('\n').length + (place.line > 1 ? 1 : 0)
  area.focus()
  area.scrollTop = Math.max(0, place.line - 4) * (area.scrollHeight / lines.length)
  area.setSelectionRange(start, start + (lines[place.line - 1]?.length ?? 0))
}
