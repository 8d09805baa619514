"""Decision tables: read, evaluate, explain and prove. Knows no medicine and imports nothing of ours."""
