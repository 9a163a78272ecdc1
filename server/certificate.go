package server

import (
	"encoding/hex"
	"time"

	"github.com/gofiber/fiber/v2"
	qr "github.com/piglig/go-qr"

	"lampwright/quiz/competency"
	"lampwright/server/credential"
	"lampwright/server/page"
	"lampwright/server/record"
)

// certificate prints a sign-off in the learner's language, and in the one it
// was signed in where that is another.
func (m *Main) certificate(c *fiber.Ctx) error {
	v := m.view(c)
	o, err := m.own(c)
	if err != nil {
		return err
	}
	p, err := m.store.Person(ctx(c), o.SiteID, o.PersonID)
	if err != nil {
		return err
	}
	head, _, err := m.store.Head(ctx(c))
	if err != nil {
		return err
	}
	hash, err := m.store.RecordHash(ctx(c), o.ID)
	if err != nil {
		return err
	}
	signed := m.signedOf(c, o, v.speak.T("competency.name."+o.Competency))
	out := page.CertificatePageData{Frame: v.frame(v.speak.T("page.certificate")), Certificate: credential.Certificate{
		Signed: signed, Name: o.PersonName, Signer: o.SignedName, Meaning: o.Meaning, AtLocal: o.SignedLocal,
		LastDay: competency.LastDay(o.Lapses, v.at.zone).Format(time.DateOnly), ChecklistVersion: o.ChecklistVersion, Language: o.Language,
		RecordHash: hex.EncodeToString(hash[:]), Languages: []string{p.Language}, Checkpoint: string(head),
	}, Programme: v.at.Name}
	if o.Language != p.Language {
		out.Languages = append(out.Languages, o.Language)
	}
	if err := out.Check(); err != nil {
		return err
	}
	for _, tag := range out.Languages {
		out.Speakers = append(out.Speakers, m.locales.Speak(tag))
	}
	if out.QR, err = qrPath(signed.Address, qr.Medium); err != nil {
		return err
	}
	return m.render(c, page.CertificatePage(out))
}

// signedOf is a sign-off as a stranger may see it.
func (m *Main) signedOf(c *fiber.Ctx, o record.SignOff, title string) credential.Signed {
	return credential.Signed{
		ID: o.ID, Address: m.base(c) + "/standing/" + o.ID, Competency: o.Competency, Title: title, SetupTag: o.SetupTag,
		SetupVersion: o.SetupVersion, At: o.Signed, Lapses: o.Lapses,
	}
}
