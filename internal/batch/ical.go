package batch

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// calendarPauseS joins hand work on a load into one entry of the calendar across short pauses, such
// as the drying of a release coat.
const calendarPauseS = 20 * 60

// WriteCalendar writes the hand work as an iCalendar object (RFC 5545). Times are floating (section
// 3.3.5, form 1): the bench's own clock, wherever the calendar is read.
func (b *Bench) WriteCalendar(w io.Writer, p *Plan) error { return b.writeCalendar(w, p, "") }

// WriteCalendarOf writes the hand work of one person likewise.
func (b *Bench) WriteCalendarOf(w io.Writer, p *Plan, name string) error {
	return b.writeCalendar(w, p.by(name), name)
}

// by is the plan with the steps of one person alone.
func (p *Plan) by(name string) *Plan {
	only := *p
	only.Steps = nil
	for _, s := range p.Steps {
		if s.By == name {
			only.Steps = append(only.Steps, s)
		}
	}
	return &only
}

func (b *Bench) writeCalendar(w io.Writer, p *Plan, of string) error {
	c := &calendar{w: w}
	stamp := b.Start.Format("20060102T150405Z") // when the plan begins, so that the same plan gives the same bytes
	c.line("BEGIN:VCALENDAR")
	c.line("VERSION:2.0")
	c.line("PRODID:-//mouldwright//batch plan//EN")
	c.line("CALSCALE:GREGORIAN")
	seen := map[string]int{}
	for _, bl := range p.blocks(calendarPauseS) {
		id := strings.ReplaceAll(of+bl.Load+"-"+bl.What, " ", "-")
		seen[id]++
		c.line("BEGIN:VEVENT")
		c.line(fmt.Sprintf("UID:%s-%d-%s@mouldwright.invalid", id, seen[id], b.Start.Format("20060102")))
		c.line("DTSTAMP:" + stamp)
		c.line("DTSTART:" + b.at(bl.From).Format("20060102T150405"))
		c.line("DTEND:" + b.at(bl.To).Format("20060102T150405"))
		c.line("SUMMARY:" + escape(b.blockTitle(p, bl)))
		c.line("DESCRIPTION:" + escape(b.blockWords(p, bl)))
		c.line("END:VEVENT")
	}
	for v := range b.Versions {
		if due := b.Versions[v].Due; due != nil {
			c.line("BEGIN:VEVENT")
			c.line(fmt.Sprintf("UID:due-%d-%s@mouldwright.invalid", v+1, b.Start.Format("20060102")))
			c.line("DTSTAMP:" + stamp)
			c.line("DTSTART;VALUE=DATE:" + b.at(*due-1).Format("20060102"))
			c.line("SUMMARY:" + escape("Due: "+b.Versions[v].Name))
			c.line("END:VEVENT")
		}
	}
	c.line("END:VCALENDAR")
	if c.err != nil {
		return fmt.Errorf("write the calendar: %w", c.err)
	}
	return nil
}

type calendar struct {
	w   io.Writer
	err error
}

// foldOctets is the longest line without its break (RFC 5545, section 3.1).
const foldOctets = 75

// line writes a content line, folded between characters, ended by CR LF.
func (c *calendar) line(s string) {
	if c.err != nil {
		return
	}
	var b strings.Builder
	room := foldOctets
	for len(s) > 0 {
		_, n := utf8.DecodeRuneInString(s)
		if n > room {
			b.WriteString("\r\n ")
			room = foldOctets - 1
		}
		b.WriteString(s[:n])
		room -= n
		s = s[n:]
	}
	b.WriteString("\r\n")
	_, c.err = io.WriteString(c.w, b.String())
}

// escape writes a TEXT value (RFC 5545, section 3.3.11); control characters have no place in one.
func escape(s string) string {
	s = strings.ToValidUTF8(s, "?")
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\\' || r == ';' || r == ',':
			b.WriteRune('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r < ' ' || r == 0x7f:
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func (b *Bench) blockTitle(p *Plan, bl block) string {
	verb := map[string]string{"prepare": "Prepare", "cast": "Cast", "take out": "Take out", "trim": "Trim"}[bl.What]
	return fmt.Sprintf("%s %s: %s", verb, bl.Load, strings.Join(p.versionsOf(bl.Load), ", "))
}

func (p *Plan) versionsOf(load string) (out []string) {
	for _, l := range p.Loads {
		if l.Name != load {
			continue
		}
		for _, m := range l.Mixes {
			if len(out) == 0 || out[len(out)-1] != m.Version {
				out = append(out, m.Version)
			}
		}
	}
	return out
}

// blockWords lists what the block holds, a line for each kind of step.
func (b *Bench) blockWords(p *Plan, bl block) string {
	var lines []string
	for _, r := range b.listRows(p, bl.Steps) {
		line := r.time + " " + r.what
		if r.stop != "" {
			line += " (" + r.stop + ")"
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}
