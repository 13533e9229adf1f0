"""Pictures of improvement as SVG text of our own, with the classes of static/css/trends.css."""
