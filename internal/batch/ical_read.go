package batch

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// besides is the path of a file that a setting names. It must lie in the batch's folder, also after symbolic links
// are followed: a batch from somebody else reads nothing of the maker's.
func (r *reader) besides(table string, n int, key, name string) string {
	if name == "" {
		return ""
	}
	if !filepath.IsLocal(name) {
		r.fail(table, n, key, "%q does not lie in the batch's folder; copy the file there and give its name alone", name)
		return ""
	}
	folder := filepath.Dir(r.path)
	path := filepath.Join(folder, name)
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		r.fail(table, n, key, "there is no file %q in the batch's folder", name)
		return ""
	}
	top, err := filepath.EvalSymlinks(folder)
	if err == nil {
		var rel string
		if rel, err = filepath.Rel(top, real); err == nil && !filepath.IsLocal(rel) {
			r.fail(table, n, key, "%q leads out of the batch's folder; copy the file there", name)
			return ""
		}
	}
	if err != nil {
		r.fail(table, n, key, "%v", err)
	}
	return path
}

// maxCalendar is the most bytes that a calendar may have.
const maxCalendar = 4 << 20

// readCalendar reads when a person is busy from an iCalendar file (RFC 5545): every event that is not marked
// as leaving time free (TRANSP:TRANSPARENT) and was not cancelled. Times are taken as the bench's own clock;
// those in UTC or of a named zone too, which is right where the calendar is of the same place. Events that
// repeat are refused, since what they leave out can be more than one rule says.
func (b *Bench) readCalendar(path string) ([]Away, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("read the calendar: %w", err)
	}
	if st.Size() > maxCalendar {
		return nil, fmt.Errorf("%s: a calendar of more than %d MB is not read", path, maxCalendar>>20)
	}
	src, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("read the calendar: %w", err)
	}
	return b.parseCalendar(path, string(src))
}

func (b *Bench) parseCalendar(path, src string) (out []Away, err error) {
	src = strings.ReplaceAll(src, "\r\n", "\n")
	src = strings.NewReplacer("\n ", "", "\n\t", "").Replace(src) // folded lines (section 3.1)
	if !strings.HasPrefix(strings.TrimSpace(src), "BEGIN:VCALENDAR") {
		return nil, fmt.Errorf("%s: this is no iCalendar file; it would begin with BEGIN:VCALENDAR", path)
	}
	var e map[string]string
	line := 0
	depth := 0 // of components inside an event, such as alarms
	for _, text := range strings.Split(src, "\n") {
		line++
		name, value, ok := strings.Cut(text, ":")
		if !ok {
			continue
		}
		key, params, _ := strings.Cut(strings.ToUpper(name), ";")
		switch {
		case key == "BEGIN" && value == "VEVENT":
			e = map[string]string{}
		case key == "BEGIN" && e != nil:
			depth++
		case key == "END" && depth > 0:
			depth--
		case key == "END" && value == "VEVENT" && e != nil:
			a, busy, err := b.busy(e)
			if err != nil {
				return nil, fmt.Errorf("%s, the event that ends on line %d: %w", path, line, err)
			}
			if busy {
				out = append(out, a)
			}
			e = nil
		case e != nil && depth == 0:
			e[key] = strings.TrimSpace(value)
			if strings.Contains(params, "VALUE=DATE") && !strings.Contains(params, "VALUE=DATE-TIME") {
				e[key+";DATE"] = "1"
			}
		}
	}
	return out, nil
}

func (b *Bench) busy(e map[string]string) (a Away, busy bool, err error) {
	if e["TRANSP"] == "TRANSPARENT" || e["STATUS"] == "CANCELLED" {
		return a, false, nil
	}
	if e["RRULE"] != "" || e["RDATE"] != "" {
		return a, false, fmt.Errorf("%q repeats; write it out as single events, or as away = […] in batch.toml", e["SUMMARY"])
	}
	from, err := b.moment(e["DTSTART"])
	if err != nil {
		return a, false, err
	}
	to := from
	switch {
	case e["DTEND"] != "":
		if to, err = b.moment(e["DTEND"]); err != nil {
			return a, false, err
		}
	case e["DURATION"] != "":
		return a, false, fmt.Errorf("%q has a DURATION; write its end as DTEND", e["SUMMARY"])
	case len(e["DTSTART"]) == 8:
		to = from + day // section 3.6.1: a date alone is that whole day
	}
	if to < from {
		return a, false, fmt.Errorf("%q ends before it begins", e["SUMMARY"])
	}
	return Away{from, to, e["SUMMARY"]}, to > from, nil
}

// moment is a DATE or DATE-TIME in seconds of the plan.
func (b *Bench) moment(text string) (int64, error) {
	for _, layout := range []string{"20060102T150405Z", "20060102T150405", "20060102"} {
		if t, err := time.Parse(layout, text); err == nil {
			return int64(t.Sub(b.Start) / time.Second), nil
		}
	}
	return 0, fmt.Errorf("%q is no date or time such as 20260304T090000", text)
}
