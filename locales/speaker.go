package locales

import (
	"embed"
	"fmt"
	"path"

	"github.com/nicksnyder/go-i18n/v2/i18n"
	"golang.org/x/text/language"

	"lampwright/locales/problem"
)

//go:embed messages/*.yaml
var files embed.FS

// Bundle is every message in every language.
type Bundle struct {
	// Report is told what could not be said as asked; nil tells nobody. Set it
	// before anyone speaks.
	Report func(error)
	voices map[string]*voice
}

// voice is one language's messages, those without values ready as they are.
type voice struct {
	language  Language
	plain     map[string]string
	plural    map[string]bool // the others: whether they have a plural
	localizer *i18n.Localizer
}

// Load reads the embedded message files. Its errors name file and line.
func Load() (*Bundle, error) {
	spoken, err := readAll()
	if err != nil {
		return nil, err
	}
	b := &Bundle{voices: map[string]*voice{}}
	for _, l := range Languages {
		v, err := newVoice(l, spoken[l.Tag])
		if err != nil {
			return nil, err
		}
		b.voices[l.Tag] = v
	}
	return b, nil
}

// readAll reads the embedded files: messages by language, then by key.
func readAll() (map[string]map[string]message, error) {
	entries, err := files.ReadDir("messages")
	if err != nil {
		return nil, err
	}
	spoken := map[string]map[string]message{}
	for _, e := range entries {
		data, err := files.ReadFile(path.Join("messages", e.Name()))
		if err != nil {
			return nil, err
		}
		l, messages, err := readMessages(e.Name(), data)
		if err != nil {
			return nil, err
		}
		if spoken[l.Tag] == nil {
			spoken[l.Tag] = map[string]message{}
		}
		for _, m := range messages {
			if other, ok := spoken[l.Tag][m.key]; ok {
				return nil, fmt.Errorf("%s:%d: got %q, expected a key that is not in %s:%d", m.file, m.line, m.key, other.file, other.line)
			}
			spoken[l.Tag][m.key] = m
		}
	}
	return spoken, nil
}

// newVoice gives each language a library bundle of its own, so that the
// library's own matching and falling back never take part.
func newVoice(l Language, messages map[string]message) (*voice, error) {
	tag, err := language.Parse(l.Tag)
	if err != nil {
		return nil, err
	}
	bundle := i18n.NewBundle(tag)
	v := &voice{
		language: l, plain: map[string]string{}, plural: map[string]bool{},
		localizer: i18n.NewLocalizer(bundle, l.Tag),
	}
	for key, m := range messages {
		if m.plain() {
			v.plain[key] = m.texts["other"]
			continue
		}
		v.plural[key] = m.plural
		if err := bundle.AddMessages(tag, m.template()); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// Speaker says messages in one language.
type Speaker struct {
	Language
	bundle *Bundle
	voice  *voice
}

// Speak is the Speaker of a language we speak, and of English for any other
// tag: choose the tag with Pick.
func (b *Bundle) Speak(tag string) Speaker {
	v, ok := b.voices[tag]
	if !ok {
		v = b.voices[Languages[0].Tag]
	}
	return Speaker{v.language, b, v}
}

// T says a message. Pairs are name, value, name, value; the value of Count
// chooses the plural. A float is said with all its digits: round it first.
// What cannot be said is reported and said in English, and where that fails
// too the key stands for it.
func (s Speaker) T(key string, pairs ...any) string {
	if s.voice == nil {
		return key
	}
	if text, ok := s.voice.plain[key]; ok {
		return text
	}
	text, err := s.voice.say(key, pairs)
	if err == nil {
		return text
	}
	s.report(err)
	if english := s.bundle.voices[Languages[0].Tag]; english != s.voice {
		if text, err = english.say(key, pairs); err == nil {
			return text
		}
		s.report(err)
	}
	return key
}

// Problem says what went wrong.
func (s Speaker) Problem(p *problem.Problem) string {
	if p == nil {
		return s.T("problem.internal")
	}
	pairs := make([]any, 0, 2*len(p.Data))
	for name, value := range p.Data {
		pairs = append(pairs, name, value)
	}
	return s.T(p.Key, pairs...)
}

func (s Speaker) report(err error) {
	if s.bundle.Report != nil {
		s.bundle.Report(err)
	}
}

func (v *voice) say(key string, pairs []any) (string, error) {
	if text, ok := v.plain[key]; ok {
		return text, nil
	}
	fail := func(err error) (string, error) {
		return "", fmt.Errorf("message %s in %s: %w", key, v.language.Tag, err)
	}
	plural, ok := v.plural[key]
	if !ok {
		return fail(errNoMessage)
	}
	values := values{pairs: pairs, rightToLeft: v.language.Dir == "rtl"}
	config := i18n.LocalizeConfig{MessageID: key, TemplateData: values, TemplateParser: templates{}}
	if plural {
		count, err := values.count()
		if err != nil {
			return fail(err)
		}
		config.PluralCount = count
	}
	text, err := v.localizer.Localize(&config)
	if err != nil {
		return fail(err)
	}
	return text, nil
}
