// Package migrations holds the database schema as numbered files. A landed file
// is never edited: a change is a new file that works before and after the new
// server starts.
package migrations

import "embed"

// FS holds NNNN_title.up.sql and NNNN_title.down.sql, numbered without gaps.
//
//go:embed *.sql
var FS embed.FS
