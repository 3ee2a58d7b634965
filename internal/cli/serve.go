package cli

import (
	"fmt"
	"os"

	"mouldwright/internal/web"
)

type serveCmd struct {
	Addr        string   `default:"127.0.0.1:8377" help:"Where to listen. Another address than loopback needs a token."`
	Folder      string   `default:"jobs" help:"The folder of job folders; made if missing."`
	TokenFile   string   `placeholder:"FILE" help:"A file with the token that others must give, made if missing; or set MOULDWRIGHT_TOKEN."`
	TLSCert     string   `name:"tls-cert" placeholder:"FILE" help:"Certificate, PEM."`
	TLSKey      string   `name:"tls-key" placeholder:"FILE" help:"Its key, PEM."`
	Host        []string `placeholder:"NAME" help:"A further name by which browsers call this server. May be given again."`
	Records     string   `default:"records.db" env:"MOULDWRIGHT_RECORDS" placeholder:"PLACE" help:"Where the bench's records are: an SQLite file, or postgres://USER@HOST/DATABASE."`
	Database    string   `env:"MOULDWRIGHT_DATABASE" placeholder:"PLACE" help:"Share the line of long work with workers: postgres://USER@HOST/DATABASE. Left out: a file in the folder."`
	NoWork      bool     `help:"Leave all long work to workers; needs --database."`
	MaxUploadMB int64    `default:"512" help:"Largest part that is taken, MB."`
	MaxFacets   int      `default:"4000000" help:"Most facets of one part."`
}

func (c serveCmd) Run(s *session) error {
	token := os.Getenv("MOULDWRIGHT_TOKEN") // not a flag: other users of this machine can read those
	if c.TokenFile != "" {
		var made bool
		var err error
		if token, made, err = web.TokenFrom(c.TokenFile); err != nil {
			return err
		}
		if made && !s.quiet {
			fmt.Fprintf(s.env.Out, "Made a token in %s; give it to those who may use the server\n", c.TokenFile)
		}
	}
	opt := web.Options{Folder: c.Folder, Addr: c.Addr, Token: token, CertFile: c.TLSCert, KeyFile: c.TLSKey, Hosts: c.Host, Records: c.Records, Database: c.Database, NoWork: c.NoWork,
		MaxUploadBytes: c.MaxUploadMB << 20, MaxFacets: c.MaxFacets, Version: s.env.Version}
	return web.Serve(s.unwatched, opt, func(url string) {
		if s.quiet {
			return
		}
		fmt.Fprintf(s.env.Out, "Jobs in %s at %s (Ctrl-C ends)\n", c.Folder, url)
		if !web.UIBuilt() {
			fmt.Fprintln(s.env.Out, "UI not built: only the HTTP API answers. Run make build for the pages.")
		}
	})
}
