// Package trimmap shows where fuel trim lies by engine speed, load and air flow, and
// what that points to. Total trim is short-term and long-term together; positive adds fuel.
// Like package analysis it is pure: samples go in, an answer comes out.
package trimmap
