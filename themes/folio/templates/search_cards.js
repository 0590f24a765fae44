{% from "entry.html" import entry with context %}
loadSearchCards([
{% for p in pictures %}
{{ entry(p)|trim|tojson }}{% if not loop.last %},{% endif +%}
{% endfor %}
]);
