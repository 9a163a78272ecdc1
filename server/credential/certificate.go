package credential

import (
	"lampwright/locales/problem"
)

// Certificate is what is printed of a sign-off. How it looks is the page's, and
// the code that leads to Address is drawn as every other code is.
type Certificate struct {
	Signed
	Name             string   // whose it is
	Signer           string   // the educator, as they signed
	Meaning          string   // what signing meant, word for word
	AtLocal          string   // At, as the educator's clock on the wall showed it
	LastDay          string   // the last local day that counts, as it is printed
	ChecklistVersion string   // of the demonstration
	Language         string   // in which it was shown and signed
	RecordHash       string   // of the record that was signed
	Languages        []string // in which it is printed: the learner's, then the agency's
	Checkpoint       string   // of the log, with its signature, several lines
}

// Check tells what is missing: a certificate is printed whole or not at all.
func (c Certificate) Check() (err error) {
	defer problem.In(&err, "credential.Check")
	for _, f := range []struct{ name, value string }{
		{"ID", c.ID},
		{"Title", c.Title},
		{"SetupTag", c.SetupTag},
		{"SetupVersion", c.SetupVersion},
		{"Name", c.Name},
		{"Signer", c.Signer},
		{"Meaning", c.Meaning},
		{"AtLocal", c.AtLocal},
		{"LastDay", c.LastDay},
		{"ChecklistVersion", c.ChecklistVersion},
		{"Language", c.Language},
		{"RecordHash", c.RecordHash},
		{"Checkpoint", c.Checkpoint},
	} {
		if f.value == "" {
			return problem.New(problem.Invalid, "problem.certificate", "Field", f.name)
		}
	}
	switch {
	case c.At.IsZero():
		return problem.New(problem.Invalid, "problem.certificate", "Field", "At")
	case !c.Lapses.After(c.At):
		return problem.New(problem.Invalid, "problem.certificate", "Field", "Lapses")
	case !webAddress(c.Address):
		return problem.New(problem.Invalid, "problem.certificate", "Field", "Address")
	case len(c.Languages) == 0:
		return problem.New(problem.Invalid, "problem.certificate", "Field", "Languages")
	}
	return nil
}
