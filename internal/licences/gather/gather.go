package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"mouldwright/internal/licences"
)

// Systems that the program is built for: each may bring modules of its own.
var systems = []string{"linux", "windows", "darwin"}

// Gather collects the texts anew from the module cache and the npm packages of a checkout.
func Gather(root string) ([]licences.Text, error) {
	works, err := places(root)
	if err != nil {
		return nil, err
	}
	byText := map[string]*licences.Text{}
	for _, w := range works {
		found, err := textsIn(w.dir)
		if err != nil {
			return nil, err
		}
		if len(found) == 0 {
			return nil, fmt.Errorf("%s: no licence text in %s", w.name, w.dir)
		}
		for _, text := range found {
			t := byText[text]
			if t == nil {
				t = &licences.Text{Kind: kindOf(text), Text: text}
				byText[text] = t
			}
			if !slices.Contains(t.Works, w.name) {
				t.Works = append(t.Works, w.name)
			}
		}
	}
	var all []licences.Text
	for _, t := range byText {
		slices.Sort(t.Works)
		all = append(all, *t)
	}
	slices.SortFunc(all, func(a, b licences.Text) int {
		return strings.Compare(strings.Join(a.Works, " ")+"\x00"+a.Text, strings.Join(b.Works, " ")+"\x00"+b.Text)
	})
	return all, nil
}

// work is somebody's work and where its licence lies.
type work struct{ name, dir string }

const (
	goItself = "Go"
	booleans = "manifold-3d"
	// clipper is compiled into manifold-3d, whose package names its licence without the text.
	clipper = "Clipper2 (in manifold-3d)"
	// boostHolder is a module that comes with the text of the Boost licence.
	boostHolder = "gonum.org/v1/gonum"
)

func places(root string) ([]work, error) {
	goroot, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("find Go: %w", err)
	}
	works := []work{{goItself, strings.TrimSpace(string(goroot))}, {booleans, filepath.Join(root, "node_modules", booleans)}}
	for _, system := range systems {
		modules, err := modulesOf(root, system)
		if err != nil {
			return nil, err
		}
		for _, m := range modules {
			if !slices.Contains(works, m) {
				works = append(works, m)
			}
			if m.name == boostHolder && system == systems[0] {
				works = append(works, work{clipper, filepath.Join(m.dir, "THIRD_PARTY_LICENSES", "Boost-LICENSE")})
			}
		}
	}
	page, err := pagePackages(root)
	return append(works, page...), err
}

// modulesOf lists the modules that the program is built from for a system.
func modulesOf(root, system string) ([]work, error) {
	list := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}}\t{{.Dir}}{{end}}{{end}}", "./cmd/mouldwright")
	list.Dir, list.Stderr = root, os.Stderr
	list.Env = append(os.Environ(), "GOOS="+system, "CGO_ENABLED=0")
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("list the modules: %w", err)
	}
	var works []work
	for line := range strings.Lines(string(out)) {
		if path, dir, ok := strings.Cut(strings.TrimSpace(line), "\t"); ok && !slices.Contains(works, work{path, dir}) {
			works = append(works, work{path, dir})
		}
	}
	return works, nil
}

// pagePackages lists the npm packages that end up in the page: those that its lock file does not mark as for
// development alone.
func pagePackages(root string) ([]work, error) {
	ui := filepath.Join(root, "internal", "web", "ui")
	b, err := os.ReadFile(filepath.Join(ui, "package-lock.json"))
	if err != nil {
		return nil, fmt.Errorf("list the page's packages: %w", err)
	}
	var lock struct {
		Packages map[string]struct{ Dev, DevOptional, Optional bool }
	}
	if err := json.Unmarshal(b, &lock); err != nil {
		return nil, fmt.Errorf("list the page's packages: %w", err)
	}
	var works []work
	for path, p := range lock.Packages {
		if path != "" && !p.Dev && !p.DevOptional && !p.Optional {
			works = append(works, work{strings.TrimPrefix(path, "node_modules/"), filepath.Join(ui, filepath.FromSlash(path))})
		}
	}
	slices.SortFunc(works, func(a, b work) int { return strings.Compare(a.name, b.name) })
	return works, nil
}

// licenceFile is what files with licences and notices are called.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents)`)

// textsIn reads the licence files of a folder, or the one that a path names.
func textsIn(path string) ([]string, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%w; run make deps first", err)
	}
	if err != nil {
		return nil, err
	}
	if !info.IsDir() {
		b, err := os.ReadFile(path)
		return []string{plain(b)}, err
	}
	entries, err := os.ReadDir(path)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		if e.IsDir() || !licenceFile.MatchString(e.Name()) {
			continue
		}
		b, err := os.ReadFile(filepath.Join(path, e.Name()))
		if err != nil {
			return nil, err
		}
		out = append(out, plain(b))
	}
	return out, nil
}

// plain gives a text the same line ends whatever system its author used.
func plain(b []byte) string {
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	return strings.Trim(strings.ReplaceAll(string(b), "\r\n", "\n"), "\n") + "\n"
}

// kindOf tells a licence by words that stand in no other (spdx.org/licenses).
func kindOf(text string) string {
	words := strings.Join(strings.Fields(text), " ")
	for _, k := range [][2]string{
		{"Mozilla Public License Version 2.0", "MPL-2.0"},
		{"Apache License Version 2.0", "Apache-2.0"},
		{"Boost Software License - Version 1.0", "BSL-1.0"},
		{"SIL OPEN FONT LICENSE Version 1.1", "OFL-1.1"},
		{"SIL Open Font License, Version 1.1", "OFL-1.1"},
		{"Neither the name", "BSD-3-Clause"},
		{"may be used to endorse or promote products", "BSD-3-Clause"},
		{"Redistribution and use in source and binary forms", "BSD-2-Clause"},
		{"Permission is hereby granted, free of charge", "MIT"},
	} {
		if strings.Contains(words, k[0]) {
			return k[1]
		}
	}
	return ""
}
