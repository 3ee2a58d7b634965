package web

import (
	"mime"
	"net/http"
	"os"
	"path"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/go-chi/chi/v5"
)

func (s *Server) routes(r chi.Router) {
	r.NotFound(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasPrefix(r.URL.Path, "/api/") {
			refuse(w, http.StatusNotFound, "the API has no such address; see /api/openapi.json")
			return
		}
		static()(w, r)
	})
	r.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusMethodNotAllowed, "this address does not take "+printable(r.Method))
	})
	r.Group(func(r chi.Router) { // streams and uploads set their own limits
		r.Use(listening)
		api := s.api(r)
		s.uploadRoutes(api)
		s.watchRoutes(api)
	})
	r.Group(func(r chi.Router) {
		r.Use(func(next http.Handler) http.Handler { return within(answerTimeout, next) })
		api := s.api(r)
		s.sessionRoutes(api)
		s.jobRoutes(api)
		s.decisionRoutes(api)
		s.geometryRoutes(api)
		s.taskRoutes(api)
		s.benchRoutes(api)
		s.recordRoutes(api)
		s.batchRoutes(api)
		r.Get("/api/jobs/{job}/out/*", s.serveOut)
		r.Get("/api/batches/{batch}/out/{name}", s.serveBatchOut)
	})
	r.Group(func(r chi.Router) { // closing a large mould takes minutes where much else goes on
		r.Use(func(next http.Handler) http.Handler { return within(uploadTimeout, next) })
		s.lidRoutes(s.api(r))
	})
	r.Get("/api/openapi.json", s.serveOpenAPI)
	r.Get("/api", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/api/openapi.json", http.StatusFound)
	})
}

// api gives huma a view on a router. All views share one description.
func (s *Server) api(r chi.Router) huma.API {
	c := huma.DefaultConfig("mouldwright", s.opt.Version)
	c.DocsPath, c.SchemasPath, c.OpenAPIPath = "", "", ""
	c.CreateHooks = nil // no $schema in bodies
	c.RejectUnknownQueryParameters = true
	if s.openAPI == nil {
		c.Components.Schemas = huma.NewMapRegistry("#/components/schemas/", schemaName)
		c.Info.Description = "The local mouldwright server. Lengths are mm, volumes mm³ or mL as named, angles degrees, in the part's own coordinates unless a field says mould frame."
		s.openAPI = c.OpenAPI
	} else {
		c.OpenAPI = s.openAPI
	}
	return humachi.New(r, c)
}

// schemaName tells types of one name apart by their packages: a plan of steps and that of a batch.
func schemaName(t reflect.Type, hint string) string {
	name := huma.DefaultSchemaNamer(t, hint)
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if from := path.Base(t.PkgPath()); t.Name() != "" && from != "web" && from != "." {
		return strings.ToUpper(from[:1]) + from[1:] + name
	}
	return name
}

func (s *Server) serveOpenAPI(w http.ResponseWriter, _ *http.Request) {
	b, err := s.openAPI.MarshalJSON()
	if err != nil {
		refuse(w, http.StatusInternalServerError, "cannot write the description")
		return
	}
	w.Header().Set("Content-Type", "application/openapi+json")
	_, _ = w.Write(b) // the client may be gone
}

// contentTypes of results, besides those that every system knows.
var contentTypes = map[string]string{".3mf": "model/3mf", ".stl": "model/stl", ".svg": "image/svg+xml", ".png": "image/png",
	".pdf": "application/pdf", ".ics": "text/calendar; charset=utf-8", ".json": "application/json", ".txt": "text/plain; charset=utf-8"}

// serveOut sends a file of out/. It goes by the name in the request alone; see workspace.outFile.
func (s *Server) serveOut(w http.ResponseWriter, r *http.Request) {
	f, err := s.work.outFile(chi.URLParam(r, "job"), chi.URLParam(r, "*"))
	if err != nil {
		refuse(w, http.StatusNotFound, "there is no such result")
		return
	}
	defer f.Close()
	sendResult(w, r, f, chi.URLParam(r, "job"), path.Base(chi.URLParam(r, "*")))
}

// sendResult sends a file of a job or batch; saved, it is called after both.
func sendResult(w http.ResponseWriter, r *http.Request, f *os.File, of, name string) {
	info, err := f.Stat()
	if err != nil {
		refuse(w, http.StatusNotFound, "there is no such result")
		return
	}
	kind := contentTypes[strings.ToLower(path.Ext(name))]
	if kind == "" {
		kind = "application/octet-stream"
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Security-Policy", resultPolicy)
	h.Set("Cache-Control", "no-cache")
	if r.URL.Query().Has("download") {
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": of + "-" + name}))
	}
	http.ServeContent(w, r, "", info.ModTime().Truncate(time.Second), f)
}
