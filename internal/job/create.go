package job

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/template"

	"mouldwright/internal/atomicfile"
)

//go:embed template.toml
var templateText string

var fileTemplate = template.Must(template.New(FileName).Parse(templateText))

// CreateOptions are the first decisions; all may be changed in job.toml later.
type CreateOptions struct {
	Name     string   // "" takes the part file's name
	Unit     string   // "" leaves it to the part file
	Object   string   // which object, when the file holds several
	Material string   // "" takes DefaultMaterial
	Colours  []string // show-face colours
}

// DefaultMaterial is what a new job casts: the soft resin that short runs are mostly made of (common
// practice, no source).
const DefaultMaterial = "pu-flexible"

// ErrExists says that the folder holds a job already, which Create never overwrites.
var ErrExists = errors.New("there is a job here already")

// Create makes a job folder: it copies the part in and writes a commented job.toml.
func Create(folder, partPath string, opt CreateOptions) error {
	target := filepath.Join(folder, FileName)
	if _, err := os.Lstat(target); err == nil {
		return fmt.Errorf("%s: %w; choose another folder or edit that one", folder, ErrExists)
	}
	base := filepath.Base(partPath)
	if opt.Name == "" {
		opt.Name = strings.TrimSuffix(base, filepath.Ext(base))
	}
	if opt.Material == "" {
		opt.Material = DefaultMaterial
	}
	// The part is read here already, so that a wrong file, unit or object shows before there is a job.
	if _, err := OpenPart(partPath, opt.Unit, opt.Object); err != nil {
		return err
	}
	text, err := render(base, opt)
	if err != nil {
		return err
	}
	if _, err := Parse(target, text); err != nil {
		return err
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fmt.Errorf("make the job folder: %w", err)
	}
	if err := copyPart(filepath.Join(folder, base), partPath); err != nil {
		return err
	}
	return atomicfile.Write(target, func(w io.Writer) error {
		_, err := w.Write(text)
		return err
	})
}

func render(base string, opt CreateOptions) ([]byte, error) {
	quoted := make([]string, len(opt.Colours))
	for i, c := range opt.Colours {
		quoted[i] = strconv.Quote(c)
	}
	var b bytes.Buffer
	err := fileTemplate.Execute(&b, map[string]string{
		"Name": strconv.Quote(opt.Name), "File": strconv.Quote(base), "Unit": strconv.Quote(opt.Unit),
		"Object": strconv.Quote(opt.Object), "Material": strconv.Quote(opt.Material), "Colours": strings.Join(quoted, ", "),
	})
	if err != nil {
		return nil, fmt.Errorf("write a new job: %w", err)
	}
	return b.Bytes(), nil
}

// copyPart copies the part into the folder unless it lies there already.
func copyPart(to, from string) error {
	src, err := os.Open(from)
	if err != nil {
		return fmt.Errorf("read the part: %w", err)
	}
	defer src.Close()
	have, err := src.Stat()
	if err != nil {
		return fmt.Errorf("read the part: %w", err)
	}
	if there, err := os.Stat(to); err == nil {
		if os.SameFile(have, there) {
			return nil
		}
		return fmt.Errorf("%s exists and is another file: %w", to, ErrExists)
	}
	return atomicfile.Write(to, func(w io.Writer) error {
		_, err := io.Copy(w, src)
		return err
	})
}
