package server

import (
	"context"
	"time"

	"lampwright/lessons/programme"
	"lampwright/lessons/setup"
	"lampwright/locales/problem"
	"lampwright/server/record"
)

// Entry is how someone of the demo signs in.
type Entry struct{ Name, Role, Tag, Who, Secret string }

// demoPeople are invented, and their secrets are no secrets: a demo is not for
// real people.
var demoPeople = []struct {
	record.Person
	secret string
}{
	{record.Person{ID: "demo-rowan", Name: "Rowan Teal", Role: record.Learner, Card: "HERON-12", Language: "en", SetupID: "chair-12"}, "4821"},
	{record.Person{ID: "demo-samira", Name: "Samira Noor", Role: record.Learner, Card: "PLOVER-7", Language: "ar", SetupID: "chair-7"}, "7350"},
	{record.Person{ID: "demo-jules", Name: "Jules Arden", Role: record.Learner, Card: "DUNLIN-21", Language: "en", SetupID: "chair-21"}, "2196"},
	{record.Person{ID: "demo-mara", Name: "Mara Quill", Role: record.Educator, Username: "mara", Language: "en"}, "lantern-harbour-9"},
	{record.Person{ID: "demo-tove", Name: "Tove Hale", Role: record.Technologist, Username: "tove", Language: "en"}, "copper-ferry-41"},
	{record.Person{ID: "demo-idris", Name: "Idris Vane", Role: record.Administrator, Username: "idris", Language: "en"}, "quiet-orchard-6"},
}

// Demo puts Alder Bay into a data folder, where it is not yet, and tells how
// to sign in.
func Demo(ctx context.Context, dir string, now time.Time) (_ []Entry, err error) {
	defer problem.In(&err, "server.Demo")
	store, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	defer func() {
		if e := store.Close(); err == nil {
			err = e
		}
	}()
	if site, err := store.Site(ctx, SiteID); err == nil && site.Programme == "" || problem.Is(err, problem.Unknown) {
		p, err := programme.Demo()
		if err != nil {
			return nil, err
		}
		if err := store.PutSite(ctx, siteOf(SiteID, p, programme.DemoFile()), now); err != nil {
			return nil, err
		}
	} else if err != nil {
		return nil, err
	}
	tags := map[string]string{}
	for _, name := range setup.DemoNames {
		text, err := setup.DemoFile(name)
		if err != nil {
			return nil, err
		}
		s, err := setup.Read(name, text)
		if err != nil {
			return nil, err
		}
		tags[name] = s.Tag
		if err := store.PutSetup(ctx, record.Setup{ID: name, SiteID: SiteID, Tag: s.Tag, Version: hashed(string(text))[:16], YAML: text}, now); err != nil {
			return nil, err
		}
	}
	var out []Entry
	for _, d := range demoPeople {
		p := d.Person
		if _, err := store.Person(ctx, SiteID, p.ID); problem.Is(err, problem.Unknown) {
			p.SiteID, p.Secret = SiteID, HashSecret(d.secret)
			if err := store.PutPerson(ctx, p, now); err != nil {
				return nil, err
			}
		} else if err != nil {
			return nil, err
		}
		out = append(out, Entry{p.Name, string(p.Role), tags[p.SetupID], p.Card + p.Username, d.secret})
	}
	return out, nil
}
