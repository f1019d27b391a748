package web

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

//go:embed text
var textFiles embed.FS

//go:embed template
var templateFiles embed.FS

// book is the pages in one language: its words, and the templates that speak them.
type book struct {
	language language.Tag
	words    map[string]string
	pages    map[string]*template.Template // by file name, without .html
	rigs     *template.Template
}

// standIn is the language of who asks for one that there is not.
const standIn = "en"

// loadBooks reads every language's words and makes its pages.
func loadBooks() []*book {
	folders, err := textFiles.ReadDir("text")
	must(err)
	books := []*book{nil}
	for _, folder := range folders {
		b := loadBook(folder.Name())
		if folder.Name() == standIn {
			books[0] = b
		} else {
			books = append(books, b)
		}
	}
	return books
}

func loadBook(name string) *book {
	b := &book{language: language.MustParse(name), words: map[string]string{}, pages: map[string]*template.Template{}}
	groups, err := fs.Glob(textFiles, "text/"+name+"/*.json")
	must(err)
	for _, file := range groups {
		text, err := textFiles.ReadFile(file)
		must(err)
		words := map[string]string{}
		if err := json.Unmarshal(text, &words); err != nil {
			panic(file + ": " + err.Error())
		}
		group := strings.TrimSuffix(path.Base(file), ".json") + "."
		for key, value := range words {
			if !strings.HasPrefix(key, group) {
				panic(fmt.Sprintf("%s: the key %s does not begin with %s", file, key, group))
			}
			b.words[key] = value
		}
	}
	b.parse()
	return b
}

// parse makes a page of every template but the frame and the parts that pages share, whose names begin with part-.
func (b *book) parse() {
	shared := template.Must(template.New("shared").Funcs(b.functions()).ParseFS(templateFiles, "template/frame.html", "template/part-*.html"))
	b.rigs = template.Must(template.New("rigs").ParseFS(templateFiles, "template/rig.svg"))
	files, err := fs.Glob(templateFiles, "template/*.html")
	must(err)
	for _, file := range files {
		name := strings.TrimSuffix(path.Base(file), ".html")
		if name == "frame" || strings.HasPrefix(name, "part-") {
			continue
		}
		b.pages[name] = template.Must(template.Must(shared.Clone()).ParseFS(templateFiles, file))
	}
}

// say returns the words with the key, its {placeholders} filled from pairs of name and value. A key that is missing, which
// a test rules out, speaks for itself.
func (b *book) say(key string, pairs ...any) string {
	words, ok := b.words[key]
	if !ok {
		return key
	}
	if len(pairs) == 0 {
		return words
	}
	filled := make([]string, len(pairs))
	for i, p := range pairs {
		filled[i] = fmt.Sprint(p)
		if i%2 == 0 {
			filled[i] = "{" + filled[i] + "}"
		}
	}
	return strings.NewReplacer(filled...).Replace(words)
}

// sayOf returns the words for a value out of a list: those with the key group.value.
func (b *book) sayOf(group string, value any, pairs ...any) string {
	return b.say(group+"."+fmt.Sprint(value), pairs...)
}

// sayIf is sayOf for words that not every value has; it returns "" where there are none.
func (b *book) sayIf(group, value string) string { return b.words[group+"."+value] }

// plurals are the endings of keys whose words depend on a number.
var plurals = map[plural.Form]string{plural.Zero: ".zero", plural.One: ".one", plural.Two: ".two", plural.Few: ".few", plural.Many: ".many", plural.Other: ".other"}

// count returns the words with the key for the number n, which they name {n}, in the plural form that the language has for it.
func (b *book) count(key string, n any, pairs ...any) string {
	number := fmt.Sprint(n)
	digits := make([]byte, 0, len(number))
	for _, r := range number {
		if r >= '0' && r <= '9' {
			digits = append(digits, byte(r-'0'))
		}
	}
	form := plurals[plural.Cardinal.MatchDigits(b.language, digits, len(digits), 0)]
	if _, ok := b.words[key+form]; !ok {
		form = ".other"
	}
	return b.say(key+form, append([]any{"n", number}, pairs...)...)
}

// languageCookie keeps the language that somebody chose on this device, unitsCookie the units.
const languageCookie = "evenrig-language"

// bookFor returns the pages in the language that the visitor chose, or else prefers.
func (s *Site) bookFor(r *http.Request) *book {
	if len(s.books) == 1 {
		return s.books[0]
	}
	tags := make([]language.Tag, len(s.books))
	for i, b := range s.books {
		tags[i] = b.language
	}
	wanted := r.Header.Get("Accept-Language")
	if c, err := r.Cookie(languageCookie); err == nil {
		wanted = c.Value + "," + wanted
	}
	_, i := language.MatchStrings(language.NewMatcher(tags), wanted)
	return s.books[i]
}

func must(err error) {
	if err != nil {
		panic(err) // the file is part of the program
	}
}
