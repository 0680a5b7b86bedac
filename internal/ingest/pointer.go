package ingest

import (
	"strconv"
	"strings"
)

// A node is one step of the JSON Pointers (RFC 6901) asked of a payload. All
// pointers of a message make one tree, so that the payload is read once
// however many probes it feeds.
type node struct {
	key   string // name of the member, unescaped
	index int    // the same as a place in an array; -1 when it is none
	slot  int    // where the value goes; -1 when nobody asks for it
	kids  []*node
}

// A tree holds the pointers asked of one topic's payloads.
type tree struct {
	root  *node
	slots int
}

func newTree() *tree { return &tree{root: &node{index: -1, slot: -1}} }

// ask adds a pointer and gives the slot its value will be found in. A pointer
// that lacks its leading slash is taken as if it had one.
func (t *tree) ask(pointer string) int {
	n := t.root
	if pointer != "" {
		for step := range strings.SplitSeq(strings.TrimPrefix(pointer, "/"), "/") {
			n = n.kid(unescapePointer(step))
		}
	}
	if n.slot < 0 {
		n.slot = t.slots
		t.slots++
	}
	return n.slot
}

func (n *node) kid(key string) *node {
	for _, k := range n.kids {
		if k.key == key {
			return k
		}
	}
	k := &node{key: key, index: arrayIndex(key), slot: -1}
	n.kids = append(n.kids, k)
	return k
}

// unescapePointer turns ~1 into / and ~0 into ~, in that order (RFC 6901 §4).
func unescapePointer(step string) string {
	return strings.ReplaceAll(strings.ReplaceAll(step, "~1", "/"), "~0", "~")
}

// arrayIndex reads a place in an array: digits without a leading zero. The
// pointer "-", the place after the last, never holds a value.
func arrayIndex(key string) int {
	if key == "" || len(key) > 9 || key[0] == '0' && key != "0" {
		return -1
	}
	for i := range len(key) {
		if key[i] < '0' || key[i] > '9' {
			return -1
		}
	}
	i, _ := strconv.Atoi(key)
	return i
}
