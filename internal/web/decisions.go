package web

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/job"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// decisions is a job.toml as it lies on disk.
type decisions struct {
	text []byte
	tag  string // changes when the text does
	file *job.File
	bad  error // why the text cannot be read, a *job.FileError
}

// maxDecisions bounds a job.toml; a written one has a few kB.
const maxDecisions = 1 << 20

var errChanged = errors.New("job.toml was changed by someone else in the meantime; load it again")

func readDecisions(folder string) (*decisions, error) {
	f, err := os.Open(filepath.Join(folder, job.FileName))
	if err != nil {
		return nil, fmt.Errorf("read the decisions: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxDecisions+1))
	if err != nil {
		return nil, fmt.Errorf("read the decisions: %w", err)
	}
	if len(text) > maxDecisions {
		return nil, fmt.Errorf("job.toml is larger than %d bytes; that is no decisions file", maxDecisions)
	}
	d := &decisions{text: text, tag: tagOf(text)}
	d.file, d.bad = job.Parse(job.FileName, text)
	return d, nil
}

func tagOf(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:8])
}

// replaceDecisions writes text if it is sound and the file still has the tag that the client saw.
func (w *workspace) replaceDecisions(id, seen string, edit func(old []byte) ([]byte, error)) (*decisions, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	folder, err := w.folder(id)
	if err != nil {
		return nil, err
	}
	old, err := readDecisions(folder)
	if err != nil {
		return nil, err
	}
	if seen != "" && seen != old.tag {
		return nil, errChanged
	}
	text, err := edit(old.text)
	if err != nil {
		return nil, err
	}
	f, err := job.Parse(job.FileName, text)
	if err != nil {
		return nil, err
	}
	if err := f.CheckFiles(folder); err != nil {
		return nil, err
	}
	if bytes.Equal(text, old.text) {
		return old, nil
	}
	err = atomicfile.Write(filepath.Join(folder, job.FileName), func(out io.Writer) error {
		_, err := out.Write(text)
		return err
	})
	if err != nil {
		return nil, err
	}
	return &decisions{text: text, tag: tagOf(text), file: f}, nil
}

// setting is one key with its new value; nil takes the key out, so that the default holds.
type setting struct {
	key   string // "mould.wall_mm"
	value any
}

// edited changes settings of a job.toml and leaves every other byte, comments too, as it is.
func edited(src []byte, settings []setting) ([]byte, error) {
	sort.SliceStable(settings, func(i, j int) bool { return settings[i].key < settings[j].key })
	for _, s := range settings {
		table, key, ok := strings.Cut(s.key, ".")
		if !ok || !bareKey(table) || !bareKey(key) {
			return nil, &job.FileError{Path: job.FileName, Key: s.key, Words: "write a setting as table.key, such as mould.wall_mm"}
		}
		var err error
		if src, err = setOne(src, table, key, s.value); err != nil {
			return nil, err
		}
	}
	return src, nil
}

func bareKey(s string) bool {
	for _, r := range s {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '_' {
			return false
		}
	}
	return s != ""
}

// spot is where something stands in a file.
type spot struct{ from, to int }

func setOne(src []byte, table, key string, value any) ([]byte, error) {
	text := ""
	if value != nil {
		b, err := toml.Marshal(map[string]any{key: value})
		if err != nil {
			return nil, &job.FileError{Path: job.FileName, Key: table + "." + key, Words: "this value does not fit a setting"}
		}
		if text = strings.TrimSpace(string(b)); strings.ContainsAny(text, "\n") {
			return nil, &job.FileError{Path: job.FileName, Key: table + "." + key, Words: "give a number, a text, or a list of them"}
		}
	}
	at, head, err := find(src, table, key)
	if err != nil {
		return nil, err
	}
	switch {
	case at != nil && text == "":
		return splice(src, wholeLine(src, *at), ""), nil
	case at != nil:
		return splice(src, *at, text), nil
	case text == "":
		return src, nil
	case head >= 0:
		end := lineEnd(src, head)
		return splice(src, spot{end, end}, "\n"+text), nil
	}
	gap := "\n"
	if len(src) > 0 && src[len(src)-1] != '\n' {
		gap = "\n\n"
	}
	return append(bytes.Clone(src), fmt.Sprintf("%s[%s]\n%s\n", gap, table, text)...), nil
}

// find gives the place of a setting, and of its table's name; −1 when the table is not there.
func find(src []byte, table, key string) (at *spot, head int, err error) {
	head = -1
	var p unstable.Parser
	p.Reset(src)
	now := ""
	for p.NextExpression() {
		e := p.Expression()
		name, first := dotted(e)
		switch e.Kind {
		case unstable.Table:
			if now = name; now == table {
				head = first
			}
		case unstable.ArrayTable:
			now = "[]" + name
		case unstable.KeyValue:
			if now == table && name == key || now == "" && name == table+"."+key {
				return &spot{int(e.Raw.Offset), int(e.Raw.Offset + e.Raw.Length)}, head, nil
			}
		}
	}
	if err := p.Error(); err != nil {
		_, err := job.Parse(job.FileName, src) // says it with line and column
		return nil, head, err
	}
	return nil, head, nil
}

// dotted is the name of an expression and where its first key stands.
func dotted(e *unstable.Node) (name string, first int) {
	var parts []string
	for it := e.Key(); it.Next(); {
		if parts == nil {
			first = int(it.Node().Raw.Offset)
		}
		parts = append(parts, string(it.Node().Data))
	}
	return strings.Join(parts, "."), first
}

// replaceList puts rows in the place of all [[name]] tables: the first row where the first of them
// stood, or at the end.
func replaceList(src []byte, name string, rows []string) ([]byte, error) {
	var p unstable.Parser
	p.Reset(src)
	var cut []spot
	open := false
	for p.NextExpression() {
		e := p.Expression()
		n, first := dotted(e)
		switch e.Kind {
		case unstable.ArrayTable:
			if open = n == name; open {
				cut = append(cut, spot{lineStart(src, first), lineEnd(src, first)})
			}
		case unstable.Table:
			open = false
		case unstable.KeyValue:
			if open {
				cut[len(cut)-1].to = lineEnd(src, int(e.Raw.Offset+e.Raw.Length)-1)
			}
		}
	}
	if p.Error() != nil {
		_, err := job.Parse(job.FileName, src)
		return nil, err
	}
	text := strings.Join(rows, "\n\n")
	if len(cut) == 0 {
		if text == "" {
			return src, nil
		}
		return append(bytes.TrimRight(bytes.Clone(src), "\n"), "\n\n"+text+"\n"...), nil
	}
	for i := len(cut) - 1; i >= 0; i-- {
		c, put := cut[i], ""
		if i == 0 && text != "" {
			put = text + "\n"
		}
		c.to = min(c.to+1, len(src)) // with its line end
		if put == "" && c.from > 1 && src[c.from-2] == '\n' {
			c.from-- // and the empty line before
		}
		src = splice(src, c, put)
	}
	return src, nil
}

func splice(src []byte, at spot, text string) []byte {
	out := make([]byte, 0, len(src)+len(text))
	out = append(out, src[:at.from]...)
	out = append(out, text...)
	return append(out, src[at.to:]...)
}

func lineStart(src []byte, at int) int { return bytes.LastIndexByte(src[:at], '\n') + 1 }

func lineEnd(src []byte, at int) int {
	if i := bytes.IndexByte(src[at:], '\n'); i >= 0 {
		return at + i
	}
	return len(src)
}

func wholeLine(src []byte, at spot) spot {
	return spot{lineStart(src, at.from), min(lineEnd(src, at.to)+1, len(src))}
}
