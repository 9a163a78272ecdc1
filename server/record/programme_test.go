package record

import (
	"context"
	"database/sql"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/pressly/goose/v3"
)

// Records from before a site had a programme file open as they were, and take
// one in.
func TestSiteFromBeforeProgrammes(t *testing.T) {
	dir := t.TempDir()
	must(t, os.Chmod(dir, 0o700))
	db, err := sql.Open("sqlite3", filepath.Join(dir, databaseFile))
	must(t, err)
	files, err := fs.Sub(migrations, "migrations")
	must(t, err)
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
	must(t, err)
	_, err = p.UpTo(context.Background(), 2)
	must(t, err)
	_, err = db.Exec(`INSERT INTO sites (site_id, name, zone, rescue_line, clinical_line, technologist_line, technologist_hours, changed)
		VALUES ('alder-bay', 'Alder Bay', 'UTC', '555-0100', '555-0101', '555-0102', '8-16', 1)`)
	must(t, err)
	must(t, db.Close())

	s := open(t, dir)
	got, err := s.Site(ctx, site)
	must(t, err)
	same(t, got, Site{
		ID: site, Name: "Alder Bay", Zone: "UTC", RescueLine: "555-0100", ClinicalLine: "555-0101",
		TechnologistLine: "555-0102", TechnologistHours: "8-16",
	})
	must(t, s.PutSite(ctx, alderBay, noon))
	got, err = s.Site(ctx, site)
	must(t, err)
	same(t, got, alderBay)
}
