package record

import (
	"context"
	"encoding/json"
	"time"

	"lampwright/locales/problem"
)

// SignOff is an educator's signature that a person showed a competency on a
// set-up: what was signed, in which versions and language, and what signing it
// meant. It is never changed.
type SignOff struct {
	ID, SiteID, PersonID, EducatorID, EducatorName string
	Competency, SetupID, SetupTag, SetupVersion    string
	ChecklistVersion, ModelVersion, ContentVersion string
	Language, Meaning, SignedName                  string
	PersonName                                     string // as it was then
	Checklist                                      []byte // JSON
	Features                                       []byte // of the set-up, JSON; none where they were not kept yet
	Supersedes                                     string // the sign-off in whose place it stands, "" for none
	Rating                                         int
	Signed                                         time.Time
	SignedLocal                                    string // Signed as the educator's clock on the wall showed it
	Lapses                                         time.Time
	FormKey                                        string // of the form that was sent, once
}

const signOffColumns = `o.id, o.site_id, o.person_id, o.educator_id, o.educator_name, o.competency, o.setup_id,
	o.setup_tag, o.setup_version, o.checklist_version, o.model_version, o.content_version, o.language, o.meaning,
	o.signed_name, o.checklist, o.features, o.supersedes, o.rating, o.signed, o.signed_local, o.lapses, o.form_key, o.person_name`

// columns are all nullable: in a roster a person may have no sign-off.
func (o *SignOff) columns() []any {
	return []any{
		maybe(&o.ID), maybe(&o.SiteID), maybe(&o.PersonID), maybe(&o.EducatorID), maybe(&o.EducatorName),
		maybe(&o.Competency), maybe(&o.SetupID), maybe(&o.SetupTag), maybe(&o.SetupVersion),
		maybe(&o.ChecklistVersion), maybe(&o.ModelVersion), maybe(&o.ContentVersion), maybe(&o.Language),
		maybe(&o.Meaning), maybe(&o.SignedName), &o.Checklist, &o.Features, maybe(&o.Supersedes), maybe(&o.Rating),
		stamp{&o.Signed},
		maybe(&o.SignedLocal),
		stamp{&o.Lapses},
		maybe(&o.FormKey),
		maybe(&o.PersonName),
	}
}

func readSignOff(scan scan) (o SignOff, err error) {
	err = scan(o.columns()...)
	return o, err
}

// entered is the sign-off as the log holds it: every column of its row, the
// checklist letter for letter.
func (o SignOff) entered() (entered, error) {
	record, err := json.Marshal(struct {
		ID, Site, Person, Educator, EducatorName, Competency, Setup, SetupTag, SetupVersion string
		ChecklistVersion, ModelVersion, ContentVersion, Language, Meaning, SignedName       string
		Checklist, Features, Supersedes                                                     string
		Rating                                                                              int
		Signed                                                                              int64
		SignedLocal                                                                         string
		Lapses                                                                              int64
		FormKey, PersonName                                                                 string
	}{
		o.ID, o.SiteID, o.PersonID, o.EducatorID, o.EducatorName, o.Competency, o.SetupID, o.SetupTag, o.SetupVersion,
		o.ChecklistVersion, o.ModelVersion, o.ContentVersion, o.Language, o.Meaning, o.SignedName,
		string(o.Checklist), string(o.Features), o.Supersedes, o.Rating, o.Signed.UnixMilli(), o.SignedLocal,
		o.Lapses.UnixMilli(), o.FormKey, o.PersonName,
	})
	return entered{kindSignOff + o.ID, o.Signed, record}, err
}

// Sign records a sign-off and enters it in the log, and is true if it did. The
// one in whose place it stands, which must be the newest of its kind, is
// superseded with it: a form that was filled in while another was signed is
// refused as moved. The same form key from the same educator again gives what
// was signed the first time, and false; if that was about someone or something
// else, that too is refused as moved.
func (s *Store) Sign(ctx context.Context, o SignOff, formKey string) (signed SignOff, isNew bool, err error) {
	defer problem.In(&err, "record.Sign")
	if formKey == "" {
		return SignOff{}, false, errNoFormKey
	}
	if o.ID == "" {
		o.ID = NewID()
	}
	o.FormKey = formKey
	o.Signed, o.Lapses = time.UnixMilli(o.Signed.UnixMilli()).UTC(), time.UnixMilli(o.Lapses.UnixMilli()).UTC()
	e, err := o.entered()
	if err != nil {
		return SignOff{}, false, err
	}
	err = s.enter(func(tx transaction, next int64) (none []entered, err error) {
		signed, isNew = SignOff{}, false
		var sent, newest string
		if err := tx.QueryRowContext(ctx, planned(`
			SELECT coalesce((SELECT id FROM sign_offs WHERE site_id = $1 AND educator_id = $2 AND form_key = $3), ''),
				coalesce((SELECT id FROM sign_offs WHERE site_id = $1 AND person_id = $4 AND competency = $5 AND setup_id = $6
					ORDER BY signed DESC, rowid DESC LIMIT 1), '')`),
			o.SiteID, o.EducatorID, formKey, o.PersonID, o.Competency, o.SetupID).Scan(&sent, &newest); err != nil {
			return none, err
		}
		if sent != "" {
			signed, err = readSignOff(tx.QueryRowContext(ctx, `
				SELECT `+signOffColumns+` FROM sign_offs o WHERE o.site_id = $1 AND o.id = $2`, o.SiteID, sent).Scan)
			if err == nil && (signed.PersonID != o.PersonID || signed.Competency != o.Competency || signed.SetupID != o.SetupID) {
				err = problem.New(problem.Moved, "problem.moved")
			}
			return none, err
		}
		if newest != o.Supersedes {
			return none, problem.New(problem.Moved, "problem.signed-meanwhile")
		}
		if err := putSignOff(ctx, tx, o, next); err != nil {
			return none, err
		}
		list := []entered{e}
		if o.Supersedes != "" {
			e, err := putEvent(ctx, tx, Event{
				ID: NewID(), SiteID: o.SiteID, SignOffID: o.Supersedes, Kind: superseded, ByID: o.EducatorID, ByName: o.EducatorName,
				At: o.Signed, AtLocal: o.SignedLocal, Data: o.ID, FormKey: formKey,
			}, next+1)
			if err != nil {
				return none, err
			}
			list = append(list, e)
		}
		signed, isNew = o, true
		return list, nil
	})
	if err != nil {
		return SignOff{}, false, err
	}
	return signed, isNew, nil
}

// superseded is the kind of event that a new sign-off leaves at the old one.
const superseded = "superseded"

func putSignOff(ctx context.Context, tx transaction, o SignOff, entry int64) error {
	_, err := tx.ExecContext(ctx, `
		INSERT INTO sign_offs (site_id, id, person_id, educator_id, educator_name, competency, setup_id, setup_tag,
			setup_version, checklist_version, model_version, content_version, language, meaning, signed_name,
			checklist, features, supersedes, rating, signed, signed_local, lapses, form_key, person_name, entry)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23, $24, $25)`,
		o.SiteID, o.ID, o.PersonID, o.EducatorID, o.EducatorName, o.Competency, o.SetupID, o.SetupTag,
		o.SetupVersion, o.ChecklistVersion, o.ModelVersion, o.ContentVersion, o.Language, o.Meaning, o.SignedName,
		string(o.Checklist), string(o.Features), o.Supersedes, o.Rating, o.Signed.UnixMilli(), o.SignedLocal,
		o.Lapses.UnixMilli(), o.FormKey, o.PersonName, entry)
	return err
}

// SignOffs reads a person's sign-offs, newest first.
func (s *Store) SignOffs(ctx context.Context, siteID, personID string) (_ []SignOff, err error) {
	defer problem.In(&err, "record.SignOffs")
	return all(ctx, s.reader, readSignOff, `
		SELECT `+signOffColumns+` FROM sign_offs o
		WHERE o.site_id = $1 AND o.person_id = $2 ORDER BY o.signed DESC, o.id DESC`, siteID, personID)
}
