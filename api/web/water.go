package web

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"maps"
	"net/http"
	"path"
	"slices"
	"strings"

	"evenrig/service/trial"
)

// The pages at the water, /water and /alone, work without signal: a service worker keeps them on the phone with their files.
// What they do is written in asset/water; here they are handed out, the same for everybody.

// waterRoutes are the pages at the water and the files that belong to one of them.
func (s *Site) waterRoutes() []Route {
	var routes []Route
	for _, page := range []string{"water", "alone"} {
		routes = append(
			routes,
			Route{Method: http.MethodGet, Path: "/" + page, Handle: func(v *Visit) error { return v.Page("shell", page) }},
			Route{Method: http.MethodGet, Path: "/" + page + "/:file", Handle: func(v *Visit) error { return s.serveWater(v, page) }},
		)
	}
	return routes
}

// serveWater answers with a page's service worker, its manifest, or the words of a language.
func (s *Site) serveWater(v *Visit, page string) error {
	file := v.Param("file")
	content, ok := map[string]func() []byte{
		"worker.js":            func() []byte { return s.worker(page) },
		"manifest.webmanifest": func() []byte { return v.book.manifest(page) },
		"cautions.json":        func() []byte { return encoded(usualCautions) },
	}[file]
	for _, b := range s.books {
		if file == wordsFile(b) {
			content, ok = b.waterWords, true
		}
	}
	if !ok {
		return trial.Missing("file")
	}
	h := v.Response().Header()
	h.Set("Content-Security-Policy", policy)  // a worker's own: it fetches this site's files
	h.Set("Service-Worker-Allowed", "/"+page) // its page has no slash at the end
	v.answerFile(file, newAsset(content()), "no-cache")
	return nil
}

// usualCautions are what who fishes alone is shown, who has no rule sheet.
var usualCautions = trial.Cautions(18, 20)

func wordsFile(b *book) string { return "words." + b.language.String() + ".json" }

// waterWords are the words of the pages at the water, as JSON.
func (b *book) waterWords() []byte {
	words := map[string]string{}
	for key, text := range b.words {
		if strings.HasPrefix(key, "water.") {
			words[key] = text
		}
	}
	return encoded(words)
}

// worker is a page's service worker: which files it keeps, and a version that changes when one of them or the page does.
func (s *Site) worker(page string) []byte {
	program := assets["water/worker.js"].bytes
	files, sum := []string{}, sha256.New()
	for _, name := range slices.Sorted(maps.Keys(assets)) {
		if strings.HasPrefix(name, "water/") && name != "water/worker.js" && path.Ext(name) != ".png" {
			files = append(files, "/asset/"+name)
			sum.Write(assets[name].bytes)
		}
	}
	files = append(files, "/water/cautions.json")
	sum.Write(encoded(usualCautions))
	for _, b := range s.books {
		files = append(files, "/water/"+wordsFile(b))
		sum.Write(b.waterWords())
		must(b.pages["shell"].ExecuteTemplate(sum, "frame", view{Language: b.language.String(), Data: page}))
	}
	sum.Write(program)
	head := "const version = " + string(encoded(hex.EncodeToString(sum.Sum(nil)[:6]))) + ", files = " + string(encoded(files)) + ";\n"
	return append([]byte(head), program...)
}

// manifest says how a phone puts the page on its home screen (W3C, Web Application Manifest).
func (b *book) manifest(page string) []byte {
	type icon struct {
		Source  string `json:"src"`
		Sizes   string `json:"sizes"`
		Type    string `json:"type"`
		Purpose string `json:"purpose"`
	}
	return encoded(map[string]any{
		"name": "evenrig: " + b.sayOf("water.shell", page), "short_name": "evenrig", "lang": b.language.String(), "id": "/" + page, "start_url": "/" + page, "scope": "/" + page,
		"display": "standalone", "background_color": "#faf8f2", "theme_color": "#faf8f2",
		"icons": []icon{
			{"/asset/water/icon.svg", "any", "image/svg+xml", "any maskable"},
			{"/asset/water/icon-192.png", "192x192", "image/png", "any maskable"},
			{"/asset/water/icon-512.png", "512x512", "image/png", "any maskable"},
		},
	})
}

func encoded(v any) []byte {
	b, err := json.Marshal(v)
	must(err)
	return b
}
