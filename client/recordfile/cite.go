package recordfile

import (
	"strings"

	"go.yaml.in/yaml/v3"
)

// cite writes over every cell of a policy's document the clause that the document itself gives as its source, as a comment: whoever
// edits a number reads beside it what it rests on. The sources stay in the document; a comment is for the reader alone.
func cite(document *yaml.Node) {
	sources := map[string]string{}
	list := child(document, "sources")
	if list == nil {
		return
	}
	for _, row := range list.Content {
		c := child(row, "citation")
		if c == nil || child(row, "path") == nil {
			continue
		}
		var parts []string
		for _, name := range []string{"document", "edition", "section"} {
			if x := child(c, name); x != nil && x.Value != "" {
				parts = append(parts, x.Value)
			}
		}
		text := strings.Join(parts, ", ")
		if read := child(c, "date_read"); read != nil && read.Value != "" {
			text += "; read " + read.Value
		}
		sources[child(row, "path").Value] = strings.Join(strings.Fields(text), " ")
	}
	citeBelow(document, "", sources)
}

// citeBelow tells whether a comment was written in or below the node: a block with comments in it does not stand on one line.
func citeBelow(n *yaml.Node, path string, sources map[string]string) bool {
	said := false
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			key, value := n.Content[i], n.Content[i+1]
			at := strings.TrimPrefix(path+"."+key.Value, ".")
			if at == "sources" {
				continue
			}
			if text := sources[at]; text != "" {
				key.HeadComment, said = text, true
			}
			said = citeBelow(value, at, sources) || said
		}
	case yaml.SequenceNode:
		for _, row := range n.Content {
			name := rowName(row)
			if name == "" {
				continue
			}
			at := path + "[" + name + "]"
			if text := sources[at]; text != "" && len(row.Content) > 0 {
				row.HeadComment, said = text, true
			}
			said = citeBelow(row, at, sources) || said
		}
	}
	if said {
		n.Style &^= yaml.FlowStyle
	}
	return said
}

// rowName is what names a row of a table, as the paths of the document do.
func rowName(row *yaml.Node) string {
	if row.Kind != yaml.MappingNode {
		return ""
	}
	for _, key := range []string{"name", "item", "clock", "rule", "record", "path", "alloy"} {
		if x := child(row, key); x != nil && x.Kind == yaml.ScalarNode && x.Value != "" {
			return x.Value
		}
	}
	return ""
}

func child(n *yaml.Node, name string) *yaml.Node {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == name {
			return n.Content[i+1]
		}
	}
	return nil
}
