// Package web is the service's pages: HTML that works without a script, over the same use cases as the API. A page decides
// nothing: it reads a form, calls one use case of conduct, and shows what came of it.
//
// A group of pages is one Go file with its routes, its templates in template/, its words in text/LANGUAGE/GROUP.json and
// what its browser needs in asset/. All of them are built into the program.
package web
