// Package desk is the coordinator's desk: pages made on the server, which work
// without JavaScript and are better with a little of it.
//
// # Where to look
//
//   - which pages there are: routes in desk.go, the only such table
//   - what a page says: its newXPage function, which turns what casework tells
//     into a plain struct; the template of the same name only lays it out
//   - states in words and shapes: words.go
//   - what people do: act.go; each action is a Task change through
//     [casework.Office.Act], by the same rules as over FHIR
//   - pictures: axis.go and plot.go compute, the templates draw SVG
//
// # To add a page
//
// A row in routes, a function that fills a struct which embeds page, and a
// template in templates/NAME.html that defines "main".
//
// # Who it is
//
// There is no sign-in yet, and the service listens on loopback only. Who did
// something is a name that the user gives once, kept in a cookie and written on
// the Task. Forms are taken from our own pages only, by the browser's word on
// where a request comes from.
//
// # Privacy
//
// Logs hold the method, the route template and the status; never a URL, a query
// or a form. Pages are not stored by browsers or proxies, and load nothing from
// elsewhere.
package desk
