package web

import (
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// Words are named by keys in templates (t "a.b", n "a.b", tk "group" .Value) and in code (T("a.b"), say, count, sayOf, See(path, "done"), and what those call).
var (
	plainKey = regexp.MustCompile(`\b(?:t|T\(|say\()\s?"([a-z_]+\.[a-z0-9_.]+)"`)
	countKey = regexp.MustCompile(`\b(?:n|N\(|count\()\s?"([a-z_]+\.[a-z0-9_.]+)"`)
	groupKey = regexp.MustCompile(`\b(?:tk|TK\(|sayOf\(|sayIf\()\s?"([a-z_]+(?:\.[a-z0-9_]+)*)"`)
	// Scripts at the water name theirs without the group: t('a.b'), tn('a.b', n), t(`a.${value}`), or in a choice between strings.
	scriptKey   = regexp.MustCompile(`\bt\('([a-z_]+(?:\.[a-z0-9_]+)*)'`)
	scriptCount = regexp.MustCompile(`\btn\('([a-z_]+(?:\.[a-z0-9_]+)*)'`)
	scriptGroup = regexp.MustCompile("\\bt\\(`([a-z_]+\\.)[^`]*\\$\\{")
	scriptWord  = regexp.MustCompile(`'([a-z_]+(?:\.[a-z0-9_]+)+)'`)
	nextKey     = regexp.MustCompile(`\bat\("([a-z_]+)", "[^"]*", "([a-z_]*)"\)`)
	partKey     = regexp.MustCompile(`\bofClub\(v, "[a-z]+", "([a-z_]+)"`)
	doneKey     = regexp.MustCompile(`\b(?:See|enter)\(.*, "([a-z_]+)"\)`)
)

// Every key that a template or the code names has words, and all words are used.
func TestWordsAreComplete(t *testing.T) {
	used, groups := map[string]bool{}, map[string]bool{}
	take := func(text string) {
		for _, m := range plainKey.FindAllStringSubmatch(text, -1) {
			used[m[1]] = true
		}
		for _, m := range countKey.FindAllStringSubmatch(text, -1) {
			used[m[1]+".other"] = true
			groups[m[1]+"."] = true
		}
		for _, m := range groupKey.FindAllStringSubmatch(text, -1) {
			groups[m[1]+"."] = true
		}
		for _, m := range append(doneKey.FindAllStringSubmatch(text, -1), partKey.FindAllStringSubmatch(text, -1)...) {
			used["done."+m[1]] = true
		}
		for _, m := range nextKey.FindAllStringSubmatch(text, -1) {
			used["next."+m[1]] = true
			if m[2] != "" {
				used["next."+m[2]] = true
			}
		}
	}
	for _, file := range sources(t) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		take(string(text))
	}
	words := loadBooks()[0].words
	for _, file := range scripts(t) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range scriptKey.FindAllStringSubmatch(string(text), -1) {
			used["water."+m[1]] = true
		}
		for _, m := range scriptCount.FindAllStringSubmatch(string(text), -1) {
			used["water."+m[1]+".other"] = true
			groups["water."+m[1]+"."] = true
		}
		for _, m := range scriptGroup.FindAllStringSubmatch(string(text), -1) {
			groups["water."+m[1]] = true
		}
		for _, m := range scriptWord.FindAllStringSubmatch(string(text), -1) {
			if _, ok := words["water."+m[1]]; ok {
				used["water."+m[1]] = true
			}
		}
	}
	for _, b := range loadBooks() {
		for key := range used {
			if _, ok := b.words[key]; !ok {
				t.Errorf("%s has no words for %s", b.language, key)
			}
		}
		for key, words := range b.words {
			known := used[key]
			for group := range groups {
				known = known || strings.HasPrefix(key, group)
			}
			if !known {
				t.Errorf("%s has words for %s, which nothing uses: %q", b.language, key, words)
			}
			if strings.TrimSpace(words) == "" {
				t.Errorf("%s has no words at %s", b.language, key)
			}
		}
		for group := range groups {
			if !slices.ContainsFunc(keys(b.words), func(key string) bool { return strings.HasPrefix(key, group) }) {
				t.Errorf("%s has no words in the group %s", b.language, group)
			}
		}
	}
}

func keys(m map[string]string) (list []string) {
	for k := range m {
		list = append(list, k)
	}
	return list
}

// scripts are the scripts at the water, which speak the words of the group water.
func scripts(t *testing.T) []string {
	t.Helper()
	return glob(t, "asset/water/*.js")
}

func glob(t *testing.T, pattern string) []string {
	t.Helper()
	files, err := fs.Glob(os.DirFS("."), pattern)
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func sources(t *testing.T) []string {
	t.Helper()
	var files []string
	for _, pattern := range []string{"*.go", "template/*.html", "template/*.svg"} {
		for _, f := range glob(t, pattern) {
			if !strings.HasSuffix(f, "_test.go") {
				files = append(files, f)
			}
		}
	}
	return files
}

// Every page works under the content policy: no script, style or handler stands in a page, and nothing comes from elsewhere.
func TestTemplatesHoldToThePolicy(t *testing.T) {
	forbidden := regexp.MustCompile(`(?i)<style|\sstyle\s*=|\son[a-z]+\s*=|javascript:|<script(?:\s[^>]*)?>[^<]|<script[^>]*(?:src="(?:https?:)?//)|https?://(?:[^w]|w[^w])|<iframe|<base`)
	scriptOrLink := regexp.MustCompile(`<(?:script|link)\b[^>]*>`)
	for _, file := range sources(t) {
		if strings.HasSuffix(file, ".go") {
			continue
		}
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if found := forbidden.Find(text); found != nil {
			t.Errorf("%s has %q", file, found)
		}
		for _, tag := range scriptOrLink.FindAllString(string(text), -1) {
			if !strings.Contains(tag, `"{{asset `) && !strings.Contains(tag, `rel="manifest"`) {
				t.Errorf("%s has %s, which is no asset", file, tag)
			}
		}
	}
}

// Every class that a style sheet speaks of stands in a page or in what a script makes; a page may put its end together.
func TestStylesAreUsed(t *testing.T) {
	var pages strings.Builder
	for _, file := range slices.Concat(sources(t), scripts(t), glob(t, "asset/*.js")) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		pages.Write(text)
	}
	words := map[string]bool{}
	for _, word := range regexp.MustCompile(`[\w-]+`).FindAllString(pages.String(), -1) {
		words[word] = true
	}
	rule, class, comment := regexp.MustCompile(`([^{}]+)\{`), regexp.MustCompile(`\.([a-zA-Z][\w-]*)`), regexp.MustCompile(`(?s)/\*.*?\*/`)
	for _, file := range slices.Concat(glob(t, "asset/*.css"), glob(t, "asset/water/*.css")) {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, head := range rule.FindAllStringSubmatch(comment.ReplaceAllString(string(text), ""), -1) {
			for _, m := range class.FindAllStringSubmatch(head[1], -1) {
				begins := m[1][:strings.LastIndex(m[1], "-")+1]
				made := begins != "" && (strings.Contains(pages.String(), begins+"{{") || strings.Contains(pages.String(), begins+"${"))
				if !made && !words[m[1]] {
					t.Errorf("%s has a style for .%s, which nothing has", file, m[1])
				}
			}
		}
	}
}

// What comes after signing in is a page of this site.
func TestNextStaysInside(t *testing.T) {
	for next, want := range map[string]string{
		"/trials/1?done=x": "/trials/1?done=x", "": "/clubs", "//elsewhere.example": "/clubs", "https://elsewhere.example/": "/clubs",
		`/\elsewhere.example`: "/clubs", "javascript:alert(1)": "/clubs", "/%2f/x": "/%2f/x", "clubs": "/clubs",
	} {
		if got := inside(next); got != want {
			t.Errorf("after signing in with next=%q comes %q, want %q", next, got, want)
		}
	}
}
