package server

import (
	"context"
	"errors"
	"time"

	"lampwright/lessons/programme"
	"lampwright/locales/problem"
	"lampwright/server/record"
)

// siteOf is the site of a programme, with the file it was read from.
func siteOf(p *programme.Programme, file []byte) record.Site {
	return record.Site{
		ID: SiteID, Name: p.Name, Zone: p.Zone, RescueLine: p.Emergency.Number,
		ClinicalLine: p.Clinical.Number, ClinicalHours: p.Clinical.Hours,
		TechnologistLine: p.Technologist.Number, TechnologistHours: p.Technologist.Hours,
		ChairLine: p.ChairVendor.Number, ChairHours: p.ChairVendor.Hours, Programme: string(file),
	}
}

// PutProgramme puts a programme's file into a data folder, in place of what
// its site was before. name is the file's, for errors; one that is no programme
// changes nothing.
func PutProgramme(ctx context.Context, dir, name string, file []byte, now time.Time) (err error) {
	p, err := programme.Read(name, file)
	if err != nil {
		return err
	}
	defer problem.In(&err, "server.PutProgramme")
	store, err := record.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(store.PutSite(ctx, siteOf(p, file), now), store.Close())
}

// policies are the programme's, or the usual where the site has none.
func (m *Main) policies() programme.Policies {
	if m.said == nil {
		return programme.Usual
	}
	return m.said.Policies
}
