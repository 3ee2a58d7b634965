package web

import (
	"embed"
	"io/fs"
	"net/http"
	"path"
	"strings"
)

// dist is the built user interface. `make build` fills it; without that only its placeholder is there,
// and the server says so.
//
//go:embed all:ui/dist
var dist embed.FS

const notBuilt = `<!doctype html><html lang="en"><meta charset="utf-8"><title>UI not built</title>
<h1>UI not built</h1>
<p>This mouldwright was compiled without its user interface. Run <code>make build</code> and start bin/mouldwright.
The HTTP API works all the same: <a href="/api/openapi.json">/api/openapi.json</a>.</p>`

// UIBuilt says whether the user interface is in this binary.
func UIBuilt() bool {
	_, err := fs.Stat(dist, "ui/dist/index.html")
	return err == nil
}

// static serves the user interface: files by their names, and the page for every other address, since
// the page itself reads which job is meant. It lists no folder.
func static() http.HandlerFunc {
	files, err := fs.Sub(dist, "ui/dist")
	if err != nil {
		panic(err) // the embedded folder is part of the binary
	}
	return func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			refuse(w, http.StatusMethodNotAllowed, "only GET here")
			return
		}
		if !UIBuilt() {
			w.Header().Set("Content-Type", "text/html; charset=utf-8")
			w.WriteHeader(http.StatusNotImplemented)
			_, _ = w.Write([]byte(notBuilt)) // the client may be gone
			return
		}
		name := strings.TrimPrefix(path.Clean("/"+r.URL.Path), "/")
		switch {
		case name == "", name == "records", name == "batches", (strings.HasPrefix(name, "jobs/") || strings.HasPrefix(name, "batches/")) && path.Ext(name) == "":
			name = "index.html"
		case strings.HasPrefix(name, "bench/") && path.Ext(name) == "":
			name = "bench.html"
		}
		if info, err := fs.Stat(files, name); err != nil || info.IsDir() || strings.HasPrefix(path.Base(name), ".") {
			refuse(w, http.StatusNotFound, "there is nothing at this address")
			return
		}
		if strings.HasPrefix(name, "assets/") { // named by their content
			w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
		}
		http.ServeFileFS(w, r, files, name)
	}
}
