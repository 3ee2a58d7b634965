import { defineConfig } from 'vite'

export default defineConfig({
  build: {
    // The page beside the view, and the light one for a phone at the bench.
    rollupOptions: { input: ['index.html', 'bench.html'] },
    target: 'es2022',
    // The page's policy allows files of the server alone: nothing inlined, no helper script in the page.
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
})
